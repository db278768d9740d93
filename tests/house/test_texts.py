"""What may not stand in any file that is handed on: one machine's paths, hosts of package indexes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.house.walk import ROOT, tracked

# Put together here so that this file does not find itself.
MACHINE_PATHS = re.compile(
    r"(?<![\w.~}])/(?:" + "|".join(["work", "root", "home/[a-z]+", "tmp", "Users"]) + r")\b"
)
INDEX_HOSTS = re.compile(
    "|".join(["py" + r"pi\.org", "python" + r"hosted\.org", "npm" + r"js\.org", "conda" + r"\.anaconda"])
)


def _texts() -> list[tuple[Path, str]]:
    texts = []
    for path in tracked():
        try:
            texts.append((path.relative_to(ROOT), path.read_text(encoding="utf-8")))
        except UnicodeDecodeError:
            continue
    return texts


def _found(pattern: re.Pattern[str]) -> list[str]:
    return [
        f"{path}:{number}: {line.strip()}"
        for path, text in _texts()
        for number, line in enumerate(text.splitlines(), 1)
        if pattern.search(line)
    ]


def test_no_path_of_one_machine_is_handed_on() -> None:
    assert not _found(MACHINE_PATHS)


def test_no_host_of_a_package_index_is_handed_on() -> None:
    assert not _found(INDEX_HOSTS)


@pytest.mark.parametrize(
    "line", ["see /" + "tmp/x", "cd '/" + "work/main'", "=/" + "root/.cache", "/" + "home/ann"]
)
def test_a_machine_path_would_be_found(line: str) -> None:
    assert MACHINE_PATHS.search(line)


@pytest.mark.parametrize("line", ["a/" + "work/b", "./" + "tmp/x", "net" + "work", "$HOME/" + "tmp"])
def test_a_relative_path_is_nothing_to_find(line: str) -> None:
    assert not MACHINE_PATHS.search(line)


def test_there_are_files_to_look_at() -> None:
    assert {"pyproject.toml", "README.md"} <= {str(path) for path, _ in _texts()}
