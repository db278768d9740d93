"""Every seed and every find through its target, without a fuzzer; and each target gets as far as it says."""

from __future__ import annotations

import pytest

from tests.fuzz.reach import entered
from tests.fuzz.targets import FINDS, SEEDS, TARGETS, inputs


@pytest.mark.parametrize("name", TARGETS)
def test_nothing_escapes_a_decoder_and_its_seeds_get_inside(name: str) -> None:
    target = TARGETS[name]
    paths = inputs(name)
    assert paths
    found = entered(target.run, (path.read_bytes() for path in paths))
    assert set(target.reaches) - found == set()


@pytest.mark.parametrize(
    "octets", [b"", b"\0", b"\xff" * 64, bytes(range(256))], ids=["empty", "0", "ff", "all"]
)
def test_nothing_escapes_any_decoder_on_the_plainest_octets(octets: bytes) -> None:
    for target in TARGETS.values():
        target.run(octets)


def test_no_input_lies_where_no_target_reads_it() -> None:
    folders = {path.name for kept in (SEEDS, FINDS) if kept.is_dir() for path in kept.iterdir()}
    assert folders <= set(TARGETS)
