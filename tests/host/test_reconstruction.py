"""Counts to weights, against the same sums in exact fractions."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.host.parts import CellSeat
from benchsim.host.reconstruction import PARTS_PER_D, Reconstruction
from tests.host.feed import Node, flow, host, parts, run

counts = st.integers(-(2**23), 2**23)
seats = st.builds(
    CellSeat,
    st.just(1),
    st.just(0),
    kg_per_count=st.floats(1e-4, 0.05),
    zero_counts=st.floats(-1e6, 1e6),
)


@given(st.lists(st.tuples(seats, counts), min_size=1, max_size=16), st.sampled_from(["0.5", "1", "20", "50"]))
def test_a_weight_is_the_sum_over_the_cells_to_a_millionth_of_d_each(
    cells: list[tuple[CellSeat, int]], interval: str
) -> None:
    reconstruction = Reconstruction([seat for seat, _ in cells], Decimal(interval))
    parts_found = reconstruction.parts(np.array([[count for _, count in cells]], dtype=np.int32))
    exact = sum(
        (Fraction(count) - Fraction(seat.zero_counts)) * Fraction(seat.kg_per_count) for seat, count in cells
    ) / Fraction(interval)
    assert abs(Fraction(int(parts_found.sum()), PARTS_PER_D) - exact) <= Fraction(len(cells), PARTS_PER_D)


def test_a_count_beyond_all_reason_is_kept_within_64_bits() -> None:
    reconstruction = Reconstruction([CellSeat(1, 0, 1e9, 0.0)], Decimal("0.001"))
    found = reconstruction.parts(np.array([[2**31 - 1], [-(2**31)]], dtype=np.int32))
    assert found.tolist() == [[10**13], [-(10**13)]]


def test_cells_keep_their_order_whatever_node_and_channel_they_are_on() -> None:
    seats = tuple(
        CellSeat(address, channel, 0.01, 5_000.0) for address, channel in [(2, 1), (1, 0), (2, 0), (1, 3)]
    )
    it = host(cells=4, seats=seats)
    one = Node(1, lambda _t: 400.0)
    two = Node(2, lambda _t: 1_600.0, channels=2, share=0.5)
    flow(it, one, two)
    tick = run(it, [one, two], 3_000_000)[-1]
    assert tick.cells_kg == pytest.approx((400.0, 100.0, 400.0, 100.0))
    assert tick.indication.gross_d == 50


@pytest.mark.parametrize("cells", range(1, 17))
def test_any_number_of_cells_makes_one_weight(cells: int) -> None:
    it = host(cells=cells)
    addresses = sorted({seat.address for seat in parts(cells=cells).seats})
    nodes = [Node(a, lambda _t: 100.0 * cells, share=4 / cells) for a in addresses]
    flow(it, *nodes)
    tick = run(it, nodes, 2_000_000)[-1]
    assert len(tick.cells_kg) == cells
    assert tick.indication.gross_d == 5 * cells
