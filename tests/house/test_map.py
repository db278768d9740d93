"""The map in DEVELOPERS.md names every file where it stands, and no file that is gone."""

from __future__ import annotations

import re
from pathlib import Path

from tests.house.walk import PACKAGE, ROOT

# Folders whose files are members of a family: the map names the folder, the catalogue its members.
FAMILIES = {"faults/" + stage for stage in ("site", "deck", "cell", "wiring", "node", "link", "host")} | {
    "link/impairments",
    "probe/of_hosts",
    "probe/of_nodes",
}


def mapped() -> set[str]:
    """Every `file` and `folder/` of the map, below the heading of its room: "link/frames.py"."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.split("\n## Map\n", 1)[1].split("\n## ", 1)[0]
    found, room = set(), ""
    for line in section.splitlines():
        if heading := re.match(r"\*\*`([\w/]+)/`\*\*", line):
            room = heading[1]
        elif item := re.match(r"- `([\w/.]+?)/?` ", line):
            found.add(f"{room}/{item[1]}")
    return found


def standing() -> set[str]:
    """What is there: modules and the folders of families, each by its place in the package."""
    places: set[Path] = set()
    for path in PACKAGE.glob("*/**/*.py"):
        place = path.relative_to(PACKAGE)
        family = place.parent.as_posix() in FAMILIES
        if family or place.name != "__init__.py":
            places.add(place.parent if family else place)
    return {p.as_posix() for p in places}


def test_the_map_names_every_file_and_only_those() -> None:
    assert mapped() == standing()


def test_the_families_are_still_there() -> None:
    assert {f for f in FAMILIES if (PACKAGE / f).is_dir()} == FAMILIES
