"""What an installed benchsim has: definitions and scenarios as data, one version, the command, its types."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from email.message import Message
from email.parser import Parser
from zipfile import ZipFile

import pytest

import benchsim
from tests.house.walk import ROOT


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> ZipFile:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, check=True, capture_output=True, cwd=ROOT, timeout=100)
    (built,) = folder.glob("*.whl")
    return ZipFile(built)


def metadata(wheel: ZipFile) -> Message:
    (name,) = (n for n in wheel.namelist() if n.endswith(".dist-info/METADATA"))
    return Parser().parsestr(wheel.read(name).decode("utf-8"))


def test_there_is_one_version(wheel: ZipFile) -> None:
    assert metadata(wheel)["Version"] == benchsim.__version__
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "version" not in project, "the version stands in benchsim/__init__.py alone"


def test_the_changelog_opens_with_this_version() -> None:
    lines = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8").splitlines()
    newest = next(line for line in lines if line.startswith("## "))
    assert benchsim.__version__ in newest


@pytest.mark.parametrize("folder", ["protocols", "scenarios"])
def test_every_definition_and_scenario_is_inside(wheel: ZipFile, folder: str) -> None:
    shipped = {p.relative_to(ROOT).as_posix() for p in (ROOT / folder).rglob("*") if p.is_file()}
    assert shipped, f"{folder}/ is empty"
    inside = {n.removeprefix("benchsim/_shipped/") for n in wheel.namelist()}
    assert shipped <= inside


def test_every_module_and_rule_profile_is_inside_and_no_test(wheel: ZipFile) -> None:
    names = wheel.namelist()
    kept = [p for p in (ROOT / "benchsim").rglob("*") if p.suffix in {".py", ".toml", ".typed"}]
    assert {p.relative_to(ROOT).as_posix() for p in kept} <= set(names)
    assert not [n for n in names if n.startswith("tests/") or "/tests/" in n]


def test_the_command_and_the_licence_are_told(wheel: ZipFile) -> None:
    (entry_points,) = (n for n in wheel.namelist() if n.endswith("entry_points.txt"))
    assert "benchsim = benchsim.cli.main:main" in wheel.read(entry_points).decode("utf-8")
    told = metadata(wheel)
    assert told["License-Expression"] == "MIT"
    assert told["Requires-Python"] == ">=3.11"


def test_what_tests_and_tools_need_is_no_burden_to_users(wheel: ZipFile) -> None:
    needed = [r for r in metadata(wheel).get_all("Requires-Dist") or [] if "extra ==" not in r]
    assert not [r for r in needed if r.startswith(("scipy", "pytest", "hypothesis", "ruff", "mypy"))]
