"""Waiting for a person to type holds nothing up."""

from __future__ import annotations

import asyncio
import os

import pytest

from benchsim.cli.probing import Typed

pytestmark = pytest.mark.real


def test_a_probe_that_waits_for_a_line_can_be_ended_and_loses_none(monkeypatch: pytest.MonkeyPatch) -> None:
    here, there = os.pipe()

    async def story() -> list[str | None]:
        typed = Typed()
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(typed.line(), 0.05)
        os.write(there, b"n\n\n")
        os.close(there)
        return [await typed.line() for _ in range(4)]

    async def ended() -> None:
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(Typed().line(), 0.05)

    with os.fdopen(here, encoding="utf-8") as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        assert asyncio.run(asyncio.wait_for(story(), 20)) == ["n\n", "\n", None, None]
    here, there = os.pipe()
    with os.fdopen(here, encoding="utf-8") as stdin, os.fdopen(there, "w", encoding="utf-8") as person:
        monkeypatch.setattr("sys.stdin", stdin)
        asyncio.run(asyncio.wait_for(ended(), 20))  # it does not wait for the person either
        person.close()
