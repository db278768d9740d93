"""Scenario texts for tests: a head that is always right, and what is told of one that is not."""

from __future__ import annotations

import pytest

from benchsim.ground.errors import BenchsimError
from benchsim.scenario.build import Built, assemble
from benchsim.scenario.loader import load_text

HEAD = "title: t\nscale: {capacity: 3 t, interval: 1 kg}\n"
DECK = (
    "title: t\n"
    "scale: {capacity: 60 t, interval: 20 kg, receptor: {length: 18 m, width: 3 m, dead load: 12 t}}\n"
    "cells: {count: 6, capacity: 30 t}\n"
    "rules: hb44-iiil-vehicle\n"
)


def built(text: str) -> Built:
    """The scenario, ready to run."""
    return assemble(load_text(text, "s.yaml"))


def told(text: str) -> list[str]:
    """What is wrong with it, one error a line."""
    with pytest.raises(BenchsimError) as caught:
        built(text)
    return str(caught.value).splitlines()
