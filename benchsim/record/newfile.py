"""A new file to write to: what is there makes room only when it is an older one of the same kind."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from benchsim.ground.errors import BadInput
from benchsim.record.pcapng import SECTION


def new_file(path: Path, magic: bytes, kind: str) -> IO[bytes]:
    """A new file.  Only one that begins like this, or an empty one, may make room for it.

    Raises BadInput: a folder, another's file, a place that cannot be written.
    """
    right = f"name a file to write the {kind} to"
    try:
        if path.is_dir():
            raise BadInput(f"{path} is a folder", right)
        if path.exists():
            if not path.is_file():
                raise BadInput(f"{path} is not a plain file", right)
            with path.open("rb") as old:
                if old.read(len(magic)) not in (b"", magic):
                    raise BadInput(f"{path} is there and is not a {kind}", "name another file")
            path.unlink()
        return path.open("xb")
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror or error}", "name a file that can be written") from None


@contextmanager
def new_capture(path: Path) -> Iterator[IO[bytes]]:
    """A new pcapng file.  Raises BadInput: as new_file does, and when it takes no more."""
    file = new_file(path, SECTION.to_bytes(4, "little"), "pcapng capture")
    try:
        with file:
            yield file
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror or error}", "write where there is room") from None
