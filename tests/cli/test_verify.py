"""The verb `verify`: text, JSON, a page, and an exit code."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.cli.calls import Call

SIMULATED = "SIMULATED, not a test report for an instrument"
OFF = """title: Cells <off> & away
scale: {capacity: 3 t, interval: 1 kg}
timeline: [{at: 0 s, fault: span-drift, with: {drift: 0.2 %, over: 0 s}}]
"""
KEYS = {"clause", "title", "load", "indication", "error_e", "limit_e", "passed"}


def test_a_good_scale_passes_and_the_text_fits_80_columns(
    call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    done = call("verify", "quiet-platform", "--rules", "r76-iii", "--only", "A.4.7")
    assert (done.code, done.err) == (0, "")
    assert "4 of 4 tests passed" in done.out
    assert SIMULATED in done.out
    assert "licensed people" in done.out
    assert max(map(len, done.out.splitlines())) <= 80


def test_a_scale_that_is_off_fails_with_its_errors_as_json(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "off.yaml"
    file.write_text(OFF)
    done = call("verify", str(file), "--rules", "hb44-iii", "--only", "N.1.1", "--json")
    assert done.code == 1
    document = json.loads(done.out)
    assert set(document) == {"rules", "tests", "passed"}
    assert (document["rules"], document["passed"]) == ("hb44-iii", False)
    assert all(set(test) == KEYS for test in document["tests"])
    most = max(document["tests"], key=lambda t: t["error_e"])
    # 0.2 % of 3 t is 6 d; Table 6 allows half of 3 d there.
    assert (most["clause"], most["load"], most["limit_e"]) == ("N.1.1, T.N.3", "3000 kg", 1.5)
    assert most["error_e"] == pytest.approx(6, abs=0.3)


def test_what_is_not_run_is_neither_passed_nor_failed(call: Call) -> None:
    done = call("verify", "quiet-platform", "--only", "A.5.2", "--json")
    (test,) = json.loads(done.out)["tests"]
    assert (test["passed"], test["error_e"]) == (None, None)
    assert "not modelled" in test["indication"]
    assert json.loads(done.out)["passed"] is False
    assert done.code == 1


class Page(HTMLParser):
    """What a page asks for from elsewhere, and its elements."""

    def __init__(self) -> None:
        super().__init__()
        self.wanted: list[str] = []
        self.open: list[str] = []
        self.rows = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.wanted += [f"{tag} {name}" for name, _ in attrs if name in ("src", "href", "data", "action")]
        self.rows += tag == "tr"
        if tag not in ("meta",):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_is_whole_needs_nothing_else_and_says_that_it_is_simulated(
    call: Call, tmp_path: Path
) -> None:
    file, out = tmp_path / "off.yaml", tmp_path / "off.html"
    file.write_text(OFF)
    done = call("verify", str(file), "--only", "3.6.2", "--html", str(out))
    assert done.code == 1
    text = out.read_text(encoding="utf-8")
    page = Page()
    page.feed(text)
    assert page.open == []
    assert page.wanted == []
    assert page.rows == 5
    assert SIMULATED in text
    assert "Cells &lt;off&gt; &amp; away" in text
    assert not re.search(r"url\(|@import|<script", text)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("quiet-platform", "--only", "A.4.77"), "unknown clause 'A.4.77'; did you mean 'A.4.7'?"),
        (("quiet-platform", "--rules", "canada-iii"), "profiles of OIML R 76 or NIST Handbook 44"),
        (("quiet-platform", "--rules", "r76-iiii"), "r76-iiii: 3000 intervals up to Max, for class IIII"),
        (("quiet-platform", "--stage", "maintenance"), "unknown stage of r76-iii 'maintenance'"),
        (
            ("quiet-platform", "--only", "A.5.2", "--html", "no/such/folder/x.html"),
            "name a file that can be written",
        ),
    ],
)
def test_what_cannot_be_is_told_in_a_line(call: Call, words: tuple[str, ...], told: str) -> None:
    done = call("verify", *words)
    assert (done.code, done.out) == (2, "")
    assert told in done.err
    assert done.err.count("\n") == 1
