"""What the tests of the verbs share."""

from __future__ import annotations

import pytest

from tests.cli.calls import Call


@pytest.fixture(autouse=True)
def no_asked_width(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return Call(capsys)
