"""The tools around the code: make's targets, the CI script, the hooks."""

from __future__ import annotations

import os
import re
import subprocess

import yaml

from tests.house.walk import ROOT

TARGETS = {"demo", "test", "lint", "fmt", "bench", "fuzz", "build", "clean", "probe"}


def test_make_without_a_target_tells_them_all() -> None:
    told = subprocess.run(["make"], cwd=ROOT, check=True, capture_output=True, text=True, timeout=60).stdout
    assert set(re.findall(r"make (\w+)", told)) >= TARGETS


def test_every_target_of_make_exists_and_makes_no_file() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    phony = re.search(r"^\.PHONY: (.*)$", makefile, flags=re.MULTILINE)
    assert phony
    assert set(phony[1].split()) == TARGETS | {"help"}
    assert {*re.findall(r"^(\w+):", makefile, flags=re.MULTILINE)} == TARGETS | {"help"}


def test_the_ci_script_can_be_run_and_runs_the_readme_s_command() -> None:
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    subprocess.run(["bash", "-n", str(script)], check=True, timeout=60)
    assert "grep -m1 -oE '^make test' README.md" in script.read_text(encoding="utf-8")


def test_hooks_fetch_nothing() -> None:
    hooks = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8"))
    assert [repo["repo"] for repo in hooks["repos"]] == ["local"]
    assert all(hook["language"] == "system" for repo in hooks["repos"] for hook in repo["hooks"])
