"""What the tests of the verbs share."""

from __future__ import annotations

import pytest

from tests.cli.calls import Call


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return Call(capsys)
