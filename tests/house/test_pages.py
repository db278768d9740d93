"""What stands on the pages works: commands (sh blocks) and programs (python blocks) are run here.

A line that installs or that calls make is looked at instead: what it names must exist.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house.walk import ROOT

PAGES = ("README.md", "DEVELOPERS.md")
NOT_RUN_HERE = ("make ", "python3 -m venv ", ".venv/bin/", ".ci/run")


def blocks(page: str, language: str) -> list[str]:
    """The page's blocks in a language."""
    text = (ROOT / page).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)


def commands(page: str) -> list[str]:
    """Every line of the page's ```sh blocks, comments left off."""
    lines = [line for block in blocks(page, "sh") for line in block.splitlines()]
    return [c for line in lines if (c := re.sub(r"(^|\s+)#.*$", "", line).strip())]


ALL = [(page, line) for page in PAGES for line in commands(page)]
MADE = [(page, line) for page, line in ALL if line.startswith("make ")]
RUN = [(page, line) for page, line in ALL if not line.startswith(NOT_RUN_HERE)]


def test_the_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    title, job, then = text.split("\n\n")[:3]
    assert title.startswith("# ")
    assert len(job.split()) > 40
    assert "\n" not in job or not job.startswith(("#", "-", "|", "`"))
    assert re.findall(r"^make (\w+)", then, flags=re.MULTILINE) == ["demo", "test"]


@pytest.mark.parametrize(("page", "line"), MADE, ids=[" ".join(x) for x in MADE])
def test_what_make_is_asked_for_is_a_target(page: str, line: str) -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in (w for w in line.split()[1:] if "=" not in w):
        assert re.search(rf"^{target}:", makefile, flags=re.MULTILINE), f"{page}: {line}"


def run(command: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run in a folder that holds what a checkout holds at its top, with our benchsim found first."""
    for name in ("scenarios", "protocols"):
        (folder / name).symlink_to(ROOT / name)
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
    return subprocess.run(
        command,
        check=False,
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        env=os.environ | {"PATH": path},
    )


@pytest.mark.real
@pytest.mark.parametrize(("page", "line"), RUN, ids=[" ".join(x) for x in RUN])
def test_a_command_on_a_page_works(page: str, line: str, tmp_path: Path) -> None:
    done = run(["/bin/sh", "-c", line], tmp_path)
    assert done.returncode == 0, f"{page}: {line}\n{done.stdout}\n{done.stderr}"


@pytest.mark.real
@pytest.mark.parametrize("program", blocks("README.md", "python"), ids=["readme"])
def test_the_program_on_the_page_reads_a_weight(program: str, tmp_path: Path) -> None:
    done = run([sys.executable, "-c", program], tmp_path)
    assert done.returncode == 0, done.stderr
    assert re.search(r"[+\- ]?0(\.0+)?kg", done.stdout), done.stdout


def test_both_pages_have_commands_that_are_run() -> None:
    assert {page for page, _ in RUN} == set(PAGES)
