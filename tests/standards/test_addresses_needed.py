"""How many node addresses 1 to 16 cells need, four channels a node.  Common practice, no source."""

from __future__ import annotations

import pytest

from benchsim.ground.readings import addresses_needed

NEEDED = {
    1: 1,
    2: 1,
    3: 1,
    4: 1,
    5: 2,
    6: 2,
    7: 2,
    8: 2,
    9: 3,
    10: 3,
    11: 3,
    12: 3,
    13: 4,
    14: 4,
    15: 4,
    16: 4,
}


@pytest.mark.parametrize("cells", NEEDED)
def test_four_cells_share_an_address(cells: int) -> None:
    assert addresses_needed(cells) == NEEDED[cells]
