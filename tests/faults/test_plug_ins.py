"""Faults of other packages: found by entry point like ours, and refused in words when they cannot be."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from benchsim.faults.fault import catalogue, entry_of
from benchsim.ground.errors import BadInput

HEAD = """
from dataclasses import dataclass, replace
from benchsim.faults.fault import fault, parameter
from benchsim.scale.parts import Site
"""
HEAT = '''
@fault(seen="it is hot", cause="the sun", confirm="touch it", caution="do not")
@dataclass(frozen=True, slots=True)
class HeatWave:
    """The site is warmer.

    More of it.
    """
    warmer_k: float = parameter(10.0, None, "by how much", low=0.0, high=30.0)

    def fold(self, part: Site, age_us: int) -> Site:
        return replace(part, temperature_c=part.temperature_c + self.warmer_k)
'''

Install = Callable[[str, str], None]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Install]:
    """Installs a package with one module under an entry point of the group of faults."""

    def put(entry_point: str, source: str) -> None:
        (tmp_path / "their_faults.py").write_text(source, encoding="utf-8")
        told = tmp_path / "their_faults-1.0.dist-info"
        told.mkdir()
        (told / "METADATA").write_text("Metadata-Version: 2.1\nName: their_faults\nVersion: 1.0\n")
        (told / "entry_points.txt").write_text(f"[benchsim.faults]\n{entry_point} = their_faults\n")
        monkeypatch.syspath_prepend(str(tmp_path))
        catalogue.cache_clear()

    yield put
    sys.modules.pop("their_faults", None)
    catalogue.cache_clear()


def test_a_fault_of_another_package_is_one_of_the_catalogue(install: Install) -> None:
    install("site.heat_wave", HEAD + HEAT)
    entry = entry_of("heat-wave")
    assert (entry.stage, entry.summary, entry.varies) == ("site", "The site is warmer.", False)
    assert entry.make({"warmer_k": 5}) != entry.make({})


@pytest.mark.parametrize(
    ("entry_point", "source", "said"),
    [
        ("roof.heat_wave", HEAD + HEAT, "has the stage 'roof'; stages: site, deck"),
        ("site.mud", HEAD + HEAT, "two faults are named 'mud'; rename the one in their_faults"),
        ("site.heat_wave", HEAD, "has 0 faults; one frozen dataclass"),
        ("site.heat_wave", HEAD + HEAT + HEAT.replace("HeatWave", "ColdWave"), "has 2 faults"),
    ],
)
def test_a_plug_in_that_cannot_be_is_told_what_would_be_right(
    install: Install, entry_point: str, source: str, said: str
) -> None:
    install(entry_point, source)
    with pytest.raises(BadInput) as told:
        catalogue()
    assert said in str(told.value)
