"""What is imported is declared, and what is declared is imported: nothing works only by another's leave."""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterable
from importlib.metadata import packages_distributions
from pathlib import Path

from tests.house.walk import PACKAGE, ROOT, imported

# Part of a package that pins it exactly and documents it: import name to the distribution to declare.
COMES_WITH = {"pydantic_core": "pydantic"}
# Used by their commands or as plug-ins of pytest, not by an import.
BY_COMMAND = {"hatchling", "pytest-asyncio", "pytest-timeout", "pytest-xdist"}


def normal(name: str) -> str:
    """A distribution's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared(requirements: Iterable[str]) -> set[str]:
    """The names in a list of requirements."""
    return {normal(re.split(r"[\[<>=!~;, ]", r, maxsplit=1)[0]) for r in requirements}


def used(files: Iterable[Path]) -> set[str]:
    """The distributions that files import, the standard library and our own left out."""
    tops = {target.split(".")[0] for path in files for _, target, _ in imported(path)}
    theirs = tops - set(sys.stdlib_module_names) - {"benchsim", "tests", ""}
    known = packages_distributions()
    return {normal(COMES_WITH.get(top) or known.get(top, [top])[0]) for top in theirs}


PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
RUN = declared(PROJECT["dependencies"])
EXTRAS = PROJECT["optional-dependencies"]
OURSELVES = {"benchsim"}  # an extra may take in another
FOR_WORK = {"test", "lint", "fuzz", "dev"}
OPTIONAL = declared(r for name, extra in EXTRAS.items() if name not in FOR_WORK for r in extra) - OURSELVES
TEST = declared(EXTRAS["test"]) - OURSELVES


def test_the_package_declares_what_it_imports_and_no_more() -> None:
    assert used(PACKAGE.rglob("*.py")) == RUN | OPTIONAL


def test_the_tests_declare_what_they_import_and_no_more() -> None:
    used_here = used((ROOT / "tests").rglob("*.py")) - RUN - OPTIONAL
    assert used_here == (TEST - BY_COMMAND - OPTIONAL) | declared(EXTRAS["fuzz"])
