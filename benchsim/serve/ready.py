"""The ready file: it is there while a session listens, and at no other time.

An earlier session's file must not be believed, so it goes first of all; a session takes its own away at
its end.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from benchsim.ground.errors import BadInput


class ReadyFile:
    """One session's ready file.  Making it takes an earlier session's away.

    Raises BadInput when the file cannot be written, before anything else is done.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._beside = path.with_name(f".{path.name}.{os.getpid()}")
        self._text = ""
        if not path.parent.is_dir():
            raise BadInput(f"{path}: there is no folder {path.parent}", "name a file that can be written")
        try:
            path.unlink(missing_ok=True)
            self._beside.touch()  # finds out whether the folder takes files
            self._beside.unlink()
        except OSError as error:
            raise self._not_written(error) from None

    def write(self, places: Mapping[str, Sequence[object]]) -> None:
        """Say where everything listens, whole or not at all: {"serial": [...], "tcp": ["host:port", ...]}."""
        self._text = json.dumps({**places, "simulated": True}) + "\n"
        try:
            self._beside.write_text(self._text, encoding="utf-8")
            self._beside.replace(self._path)
        except OSError as error:
            raise self._not_written(error) from None

    def take_away(self) -> None:
        """Nobody listens any more.  A file that another session has put in its place stays."""
        try:
            if self._text and self._path.read_text(encoding="utf-8") == self._text:
                self._path.unlink()
        except OSError:
            return  # gone already, or no longer ours to take

    def _not_written(self, error: OSError) -> BadInput:
        return BadInput(f"{self._path}: {error.strerror or error}", "name a file that can be written")
