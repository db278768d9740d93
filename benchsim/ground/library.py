"""Finds what plugs in by its file's name: small classes in a folder, definition files, the user's own.

The only place that knows where benchsim keeps `protocols/`, `scenarios/` and the rule profiles: beside
the package in a checkout, inside it when installed.  Files are read before a run, never during one.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator
from importlib.metadata import entry_points
from pathlib import Path
from types import ModuleType

from benchsim.ground.errors import BadInput

_PACKAGE = Path(__file__).parent.parent


def shipped(folder: str) -> Path:
    """The folder of definitions or scenarios that came with benchsim ("protocols", "scenarios")."""
    installed = _PACKAGE / "_shipped" / folder
    return installed if installed.is_dir() else _PACKAGE.parent / folder


def profiles_folder() -> Path:
    """Where the shipped rule profiles are."""
    return _PACKAGE / "rules" / "profiles"


def name_of(file_stem: str) -> str:
    """The name a part goes by: its file's, with hyphens."""
    return file_stem.replace("_", "-")


def members(package: str) -> Iterator[tuple[str, str, ModuleType]]:
    """Every module one folder below a package: (folder, name, module), in alphabetical order.

    `benchsim.faults` with the file cell/zero_shift.py gives ("cell", "zero-shift", module).  Modules
    that other people registered under the entry-point group of the package's name follow, with the
    stage standing before the first dot of the entry's name ("cell.my-fault").
    """
    root = importlib.import_module(package)
    for folder in sorted(m.name for m in pkgutil.iter_modules(root.__path__) if m.ispkg):
        inner = importlib.import_module(f"{package}.{folder}")
        for name in sorted(m.name for m in pkgutil.iter_modules(inner.__path__)):
            yield folder, name_of(name), importlib.import_module(f"{package}.{folder}.{name}")
    for entry in sorted(entry_points(group=package), key=lambda e: e.name):
        folder, _, name = entry.name.partition(".")
        yield folder, name_of(name), entry.load()


def read_text(path: Path, limit_bytes: int = 4_000_000) -> str:
    """A text file whole.  Raises BadInput: not there, not readable, not UTF-8, larger than the limit."""
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise BadInput(f"{path} is a folder", "name a file")
        if size > limit_bytes:
            raise BadInput(f"{path} has {size} bytes", f"at most {limit_bytes} bytes are read")
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise BadInput(f"{path}: byte {error.start} is not UTF-8 text", "save the file as UTF-8") from None
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror or error}", "name a file that can be read") from None
