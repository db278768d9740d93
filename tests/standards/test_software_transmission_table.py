"""Section 11 of the node link's specification: each demand on transmission, what meets it, what breaks it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchsim.ground.library import shipped

PAGE = (shipped("protocols") / "nodelink" / "README.md").read_text("utf-8")
DEMANDS = [f"T{n}" for n in range(1, 9)] + ["D 31 integrity", "D 31 time", "D 31 interruption"]
ROW = re.compile(r"^\| (T\d|D 31 \w+) \| (.+?) \| (.+?) \| (.+?) \| (.+?) \|$", re.MULTILINE)
FORCES = "tests/standards/test_software_transmission.py"
ROOT = Path(__file__).parents[2]
TEST = re.compile(r"`(tests/[\w/]+\.py)::(test_\w+)`")


def _rows() -> list[tuple[str, ...]]:
    section = PAGE[PAGE.index("\n## 11 ") :]
    return [match.groups() for match in ROW.finditer(section)]


def test_the_table_has_every_demand_once_and_names_a_section_and_a_test_for_each() -> None:
    assert [row[0] for row in _rows()] == DEMANDS
    headings = set(re.findall(r"^## (\d+) ", PAGE, re.MULTILINE))
    for _, _, mechanism, sections, tests in _rows():
        assert len(mechanism) > 20
        assert set(re.findall(r"\d+", sections)) <= headings
        assert re.findall(r"\d+", sections)
        assert TEST.findall(tests)


@pytest.mark.parametrize("row", _rows(), ids=lambda r: r[0])
def test_every_test_that_the_table_names_is_there(row: tuple[str, ...]) -> None:
    for file, name in TEST.findall(row[4]):
        assert f"\ndef {name}(" in (ROOT / file).read_text("utf-8"), f"{file}::{name}"


def test_every_test_by_force_is_named_by_the_table() -> None:
    named = {name for row in _rows() for file, name in TEST.findall(row[4]) if file == FORCES}
    ours = set(re.findall(r"^def (test_\w+)", (ROOT / FORCES).read_text("utf-8"), re.MULTILINE))
    assert named == ours


def test_the_page_says_that_the_wording_is_from_memory() -> None:
    section = PAGE[PAGE.index("\n## 11 ") :]
    assert "from memory" in section
    assert all("memory" in row[1] for row in _rows())
