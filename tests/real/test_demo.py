"""The demo is the main job once through: a live bench, a client of its own process, the truth beside."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from benchsim.cli import demo_run
from benchsim.cli.demo_run import Result, Row, Said, Truth, run_demo
from benchsim.rules.profile import load_profile
from benchsim.serve.live import Exchange
from tests.cli.test_terminal import on_a_terminal
from tests.real.served import ROOT
from tests.serve.small_bench import loaded

pytestmark = pytest.mark.real

SPEED = 12
LONGEST_DEMO_S = 20


@pytest.fixture(scope="module")
def shown() -> dict[str, Any]:
    """The demo's own account, from a process of its own."""
    command = [sys.executable, "-m", "benchsim.cli.main", "demo", "--json", "--speed", str(SPEED)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=100, check=False)
    assert done.returncode == 0, done.stderr + done.stdout
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def test_every_stable_reading_is_within_tolerance_of_the_truth(shown: dict[str, Any]) -> None:
    judged = [r for r in shown["readings"] if r["passed"] is not None]
    assert shown["passed"]
    assert len(judged) >= 10
    for row in judged:
        assert abs(float(row["reading"]) - row["true"]) <= float(row["allowed_d"]) * float(shown["interval"])


def test_the_client_weighs_the_truck_that_the_scenario_drives_on(shown: dict[str, Any]) -> None:
    truck_kg = 6_800 + 10_900 + 18_600  # the axles of scenarios/demo.yaml
    gross = [r for r in shown["readings"] if r["kind"] == "gross" and r["command"] == "P" and r["true"] > 0]
    assert [r["true"] for r in gross] == [truck_kg]
    assert abs(float(gross[0]["reading"]) - truck_kg) <= float(shown["interval"])


def test_the_client_zeroes_sees_motion_tares_reads_net_and_clears(shown: dict[str, Any]) -> None:
    commands = [r["command"][0] for r in shown["readings"]]
    assert [c for c in "PZWTMCR" if c not in commands] == []
    assert any(r["moving"] for r in shown["readings"])
    nets = [r for r in shown["readings"] if r["kind"] == "net" and r["command"] == "W"]
    assert [float(r["reading"]) for r in nets] == [0.0, 36_300.0 - 12_000.0]


def test_a_zero_request_in_motion_is_refused_and_nothing_comes_of_it_later(shown: dict[str, Any]) -> None:
    steps = shown["readings"]
    at = next(i for i, r in enumerate(steps) if r["answer"][1] == "E")
    assert (steps[at]["command"], steps[at]["answer"]) == ("Z", "\nE1GM ----------kg \r")
    assert (steps[at + 1]["command"], float(steps[at + 1]["reading"])) == ("P", 36_300.0)


def test_a_figure_is_what_came_over_the_wire(shown: dict[str, Any]) -> None:
    for row in shown["readings"]:
        if row["reading"] is not None:
            assert len(row["answer"]) == 20
            assert row["answer"][6:16].strip() == row["reading"]


def test_it_says_simulated_and_takes_no_longer_than_it_may_at_its_own_speed(shown: dict[str, Any]) -> None:
    assert shown["simulated"] is True
    assert any("SIMULATED" in r["answer"] for r in shown["readings"])
    assert shown["readings"][-1]["at_s"] / 4 < LONGEST_DEMO_S - 2  # its own speed is 4; 2 s to begin and end


def test_the_client_knows_nothing_but_pyserial() -> None:
    names = set()
    for node in ast.walk(ast.parse(demo_run.CLIENT.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {a.name.split(".")[0] for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add((node.module or "").split(".")[0])
    assert names - sys.stdlib_module_names == {"serial"}


# -- the judgement ------------------------------------------------------------------------------------------

LOADED = replace(loaded(620), t_us=1_000_000)
PROFILE = load_profile("hb44-iiil-vehicle")


def row_of(answer: bytes, true_kg: float, command: str = "W") -> Row:
    truth = Truth({1_000_000: true_kg}, Decimal(20), PROFILE)
    sent = Exchange(1_000_000, "one", b"", answer, LOADED)
    rows, trouble = truth.beside([Said("weigh", command, 1, answer)], [sent])
    assert not trouble
    return rows[0]


@pytest.mark.parametrize(
    ("true_kg", "passed"), [(12_400.0, True), (12_360.0, True), (12_359.0, False), (12_441.0, False)]
)
def test_a_stable_reading_is_judged_by_the_tolerance_of_its_load(true_kg: float, passed: bool) -> None:
    # HB 44 Table 6, III L, maintenance: 2 d from 501 d to 1 000 d; 12 400 kg are 620 d of 20 kg
    assert row_of(b"\n 1G       12400kg \r", true_kg).passed is passed


def test_a_reading_in_motion_is_shown_and_not_judged() -> None:
    row = row_of(b"\n 1GM      12400kg \r", 5_000.0)
    assert row.reading == 12_400
    assert row.passed is None


def test_a_row_in_motion_shows_no_departure() -> None:
    cells = row_of(b"\n 1GM       1780kg \r", 6_800.0).cells()
    assert cells[-1].split() == ["-", "in", "motion,", "not", "judged"]
    assert "251" not in " ".join(cells)


def test_the_repeat_says_how_many_answers_came(shown: dict[str, Any]) -> None:
    repeats = [r["step"] for r in shown["readings"] if r["command"] == "R"]
    assert repeats == ["5 answers came, the last:"]


# Rows as wide as they come: FAIL, a time to the millisecond, a known tare, every figure at its longest.
WIDE = """
from decimal import Decimal
from benchsim.cli.demo import _show
from benchsim.cli.demo_run import Result, Row
d, t = Decimal, 102_288_000
rows = (
    Row(t, "set a known tare", "T     12000", "", "gross", False, d(-36300), -36300.0, -0.12, d(4), True),
    Row(t, "it stands, wait for stable", "P", "", "gross", False, d(36320), 29500.0, 341.0, d(4), False),
    Row(t, "zero in vain, it moves", "Z", chr(10) + "E1GM ----------kg " + chr(13)),
    Row(t, "it drives off", "W", "", "gross", True, d(36320), 29500.0, 341.0, d(4), None),
)
_show(Result("a demo", "/dev/pts/9", "kg", d(20), rows, ""))
"""


def lines_of(columns: int) -> list[str]:
    code, seen, _ = on_a_terminal(columns, program=(sys.executable, "-c", WIDE))
    assert code == 0
    return [line.rstrip() for line in seen.replace("\r", "").split("\n")]


@pytest.mark.parametrize("columns", [80, 100, 120])
def test_the_table_fits_a_terminal_without_losing_a_digit(columns: int) -> None:
    lines = lines_of(columns)
    assert max(map(len, lines)) <= 80
    rows = {line.split()[0]: line.split() for line in lines if line.startswith(("ok", "FAIL"))}
    tail = ["-36300", "gross", "-36300.00", "-0.12", "of", "4"]
    assert rows["ok"][:2] == ["ok", "102.288"]
    assert rows["ok"][-8:] == ["T", "12000", *tail]
    assert rows["FAIL"][-6:] == ["36320", "gross", "29500.00", "+341.00", "of", "4"]
    assert "\N{HORIZONTAL ELLIPSIS}" not in "".join(lines)


def test_one_bad_reading_fails_the_demo_and_so_does_none_at_all() -> None:
    good, bad = row_of(b"\n 1G       12400kg \r", 12_400.0), row_of(b"\n 1G       12400kg \r", 6_000.0)
    result = Result("a demo", "/dev/pts/9", "kg", Decimal(20), (good,), "")
    assert result.passed
    assert not replace(result, rows=(good, bad)).passed
    assert not replace(result, rows=()).passed
    assert not replace(result, trouble="the client ended").passed


def test_an_answer_that_is_not_the_one_that_was_sent_is_told() -> None:
    truth = Truth({1_000_000: 0.0}, Decimal(20), PROFILE)
    sent = Exchange(1_000_000, "one", b"", b"\n 1G       12400kg \r", LOADED)
    _rows, trouble = truth.beside([Said("weigh", "W", 1, b"\n 1G       12420kg \r")], [sent])
    assert "not as it was sent" in trouble


def test_answers_that_left_in_one_go_are_told_apart() -> None:
    one, other = b"\n 1G       12400kg \r", b"\n 1N           0kg \r"
    truth = Truth({1_000_000: 12_400.0}, Decimal(20), PROFILE)
    sent = [
        Exchange(1_000_000, "one", b"\nW\r\nT\r", one + other, LOADED),
        Exchange(1_000_000, "one", b"\nW\r", other, LOADED),
    ]
    said = [Said("weigh", "W", 1, one), Said("tare", "T", 2, other), Said("net", "W", 3, other)]
    rows, trouble = truth.beside(said, sent)
    assert not trouble
    assert [r.passed for r in rows] == [True, True, True]


def test_a_client_that_breaks_is_told_and_fails_the_demo(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "broken_client.py"
    broken.write_text("raise SystemExit('no such port')")
    monkeypatch.setattr(demo_run, "CLIENT", broken)
    result = run_demo(SPEED, lambda _line: None)
    assert not result.passed
    assert result.trouble == "the client ended with: no such port"
