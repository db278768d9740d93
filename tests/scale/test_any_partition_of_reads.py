"""The promise of the room: samples do not depend on how they are asked for, whatever happens meanwhile."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchsim.ground.commands import Axle, Drive, Move, Place, Remove, SiteCommand
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Counts
from benchsim.scale.digitiser import Converter, Figures
from benchsim.scale.law import Setup
from benchsim.scale.loads import Deck
from benchsim.scale.parts import Cell, Digitiser, ScaleParts, Wiring
from benchsim.scale.scale import Scale
from benchsim.scale.station import Sampler
from tests.scale.made import S, parts, scale

CELL = Cell(
    30_000.0,
    zero_balance_mv_per_v=0.01,
    nonlinearity=0.0002,
    hysteresis=0.0003,
    creep=((0.0002, 0.7), (0.0003, 20.0)),
    zero_effect_per_k=1e-5,
    span_effect_per_k=1e-5,
)
PLAIN = Digitiser(noise_rms_counts=9.0, pickup_mv_per_v=0.002)
FILTERED = Digitiser(
    noise_density_v_per_rthz=80e-9, pickup_mv_per_v=0.002, filter="sinc2", filter_samples=5, rate_hz=100.0
)
SIX = ((0.0, 0.0), (0.0, 3.0), (4.0, 0.0), (4.0, 3.0), (8.0, 0.0), (8.0, 3.0))
LASTS_US = 30 * S


def healthy(digitiser: Digitiser) -> ScaleParts:
    made = parts(CELL, SIX, digitiser, dead_load_kg=4_000.0, natural_frequency_hz=6.0, damping_ratio=0.3)
    return replace(made, stations=(made.stations[0], replace(made.stations[1], digitiser=PLAIN)))


def _first(made: ScaleParts, cell: Cell) -> ScaleParts:
    return replace(made, cells=(cell, *made.cells[1:]))


def _converter(made: ScaleParts, **figures: float) -> ScaleParts:
    digitiser = replace(made.stations[0].digitiser, **figures)  # type: ignore[arg-type]
    return replace(made, stations=(replace(made.stations[0], digitiser=digitiser), *made.stations[1:]))


EVERY_EFFECT_AT_C = {10: 35.0, 11: 5.0}


def _every_effect(made: ScaleParts, temperature_c: float) -> ScaleParts:
    cells = tuple(
        replace(
            cell, recovery=1.6, repeatability=0.001, safe_load=0.2, overload_set=0.02,
            thermal_time_constant_s=0.04 * (1 + number),  # settled after some 24 of them, within a test
        )
        for number, cell in enumerate(made.cells)
    )  # fmt: skip
    return replace(made, cells=cells, site=replace(made.site, temperature_c=temperature_c))


def changed(made: ScaleParts, kind: int) -> ScaleParts:
    """The healthy parts with one thing different, or with every effect of a cell at some temperature."""
    if kind in EVERY_EFFECT_AT_C:
        return _every_effect(made, EVERY_EFFECT_AT_C[kind])
    return _one_thing_different(made, kind)


def _one_thing_different(made: ScaleParts, kind: int) -> ScaleParts:
    first = made.cells[0]
    match kind:
        case 0:
            return made
        case 1:
            return replace(made, site=replace(made.site, temperature_c=35.0))
        case 2:
            return replace(made, receptor=replace(made.receptor, dead_load_kg=5_500.0, damping_ratio=0.1))
        case 3:
            low = replace(made.receptor.supports[0], stiffness_n_per_m=3e7)
            supports = (low, *made.receptor.supports[1:])
            return replace(made, receptor=replace(made.receptor, supports=supports))
        case 4:
            return _first(made, replace(first, creep=(*first.creep, (0.002, 3.0))))
        case 5:
            return _first(made, replace(first, hysteresis=0.002, e_max_kg=20_000.0, creep=()))
        case 6:
            leaky = Wiring(2.0, sensed=False, leaks=(("SIG+", 2e5),))
            return replace(made, wiring=(leaky, Wiring(open=("SIG-",)), *made.wiring[2:]))
        case 7:
            return _converter(made, clock_error_ppm=300.0, pickup_hz=60.0)
        case 8:
            return _converter(made, clock_error_ppm=-450.0, stuck_bits=6)
        case _:
            return _converter(made, noise_rms_counts=0.0, noise_density_v_per_rthz=0.0, reference_error=0.01)


TIME = st.integers(0, LASTS_US)
X, Y = st.floats(0.0, 8.0), st.floats(0.0, 3.0)
NAME = st.sampled_from(["a", "b", "c"])
COMMAND = st.one_of(
    st.builds(Place, NAME, st.floats(10.0, 40_000.0), X, Y),
    st.builds(Move, NAME, X, Y),
    st.builds(Remove, NAME),
    st.builds(
        Drive,
        NAME,
        st.just((Axle(5_000.0, 0.0), Axle(8_000.0, 3.5))),
        st.floats(1.0, 5.0),
        X,
        Y,
        st.one_of(st.none(), st.integers(0, 8 * S)),
        st.floats(0.4, 3.0),
    ),
)
HAPPENING = st.tuples(TIME, st.one_of(COMMAND, st.integers(0, 11)))
Happenings = list[tuple[int, SiteCommand | int]]


def happen(made: Scale, digitiser: Digitiser, t_us: int, what: SiteCommand | int) -> None:
    if isinstance(what, int):
        made.change(changed(healthy(digitiser), what), t_us)
        return
    try:
        made.do(what, t_us)
    except BadInput:  # a name that is taken or unknown: refused alike in every run
        return


def octets(blocks: Iterable[Counts]) -> list[bytes]:
    kept = list(blocks)
    return [
        np.concatenate([getattr(b, field) for b in kept]).tobytes()
        for field in ("t_us", "node_t_us", "counts", "status")
    ]


def played(
    digitiser: Digitiser, happenings: Happenings, reads: list[tuple[int, int]]
) -> tuple[list[list[bytes]], bytes]:
    """Every station's samples, and the truth, when it is read at these times; what happens is told as late
    as may be, just before the first read beyond it."""
    made = scale(healthy(digitiser))
    waiting, blocks = list(happenings), {0: [made.read(0, 0)], 1: [made.read(1, 0)]}
    for t_us, station in [*reads, (LASTS_US, 0), (LASTS_US, 1)]:
        while waiting and waiting[0][0] < t_us:
            happen(made, digitiser, *waiting.pop(0))
        blocks[station].append(made.read(station, t_us))
    for entry in waiting:
        happen(made, digitiser, *entry)
    for parts_read in blocks.values():
        lengths = [len(b.t_us) for b in parts_read]
        assert [b.first for b in parts_read] == [sum(lengths[:i]) for i in range(len(lengths))]
    truth = made.true_cells_kg(np.arange(0, LASTS_US, 70_001)).tobytes()
    return [octets(parts_read) for parts_read in blocks.values()], truth


@given(
    digitiser=st.sampled_from([PLAIN, FILTERED]),
    happenings=st.lists(HAPPENING, max_size=8),
    reads=st.lists(st.tuples(TIME, st.integers(0, 1)), max_size=25),
)
def test_any_partition_of_reads_gives_the_same_bytes(
    digitiser: Digitiser, happenings: Happenings, reads: list[tuple[int, int]]
) -> None:
    happenings = sorted(happenings, key=lambda h: h[0])
    whole = played(digitiser, happenings, [])
    assert played(digitiser, happenings, sorted(reads)) == whole


BUSY: Happenings = [
    (2 * S, Place("a", 18_400.0, 2.0, 1.0)),
    (6 * S, 1),
    (9 * S, 7),
    (12 * S, Drive("b", (Axle(5_000.0, 0.0), Axle(8_000.0, 3.5)), 3.0, 7.0, 1.5, 4 * S)),
    (21 * S, 6),
]


@pytest.mark.parametrize("step_us", [12_500, 99_999, 800_000, 7_777_777])
@pytest.mark.parametrize("digitiser", [PLAIN, FILTERED])
def test_even_steps_give_the_same_bytes_as_one(digitiser: Digitiser, step_us: int) -> None:
    reads = [(t, k) for t in range(step_us, LASTS_US, step_us) for k in (0, 1)]
    assert played(digitiser, BUSY, reads) == played(digitiser, BUSY, [])


@given(
    happenings=st.lists(HAPPENING, max_size=6),
    cuts=st.lists(st.integers(0, 32 * 64), min_size=1, max_size=12),
)
def test_reads_and_changes_right_at_samples_and_chunks_give_the_same_bytes(
    happenings: Happenings, cuts: list[int]
) -> None:
    """All at multiples of a sample's time, where an event and a sample fall on one instant."""
    happenings = sorted(((t // 12_500 * 12_500, what) for t, what in happenings), key=lambda h: h[0])
    reads = sorted((cut * 12_500, cut % 2) for cut in cuts)
    assert played(PLAIN, happenings, reads) == played(PLAIN, happenings, [])


class Listener(Converter):
    """Keeps what it is given to convert, before any rounding to codes hides a difference."""

    def __init__(self) -> None:
        super().__init__(())
        self.heard: list[NDArray[np.float64]] = []

    def convert(
        self, ideal: NDArray[np.float64], first: int, figures: Figures, status: NDArray[np.uint8]
    ) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
        assert first == sum(part.shape[1] for part in self.heard)
        self.heard.append(ideal.copy())
        return np.zeros(ideal.T.shape, np.int32), np.zeros(ideal.T.shape, np.uint8)


def heard(happenings: Happenings, reads: list[int]) -> bytes:
    """What the first station's converter is given, to the last bit, when it is read at these times."""
    made, deck, listener = healthy(PLAIN), Deck(healthy(PLAIN).receptor), Listener()
    sampler = Sampler((0, 1, 2, 3), Setup.of(made, 0), deck, 0, listener)
    waiting = list(happenings)
    for t_us in [*reads, LASTS_US]:
        while waiting and waiting[0][0] < t_us:
            at_us, what = waiting.pop(0)
            if isinstance(what, int):
                parts_now = changed(made, what)
                deck = replace(deck, receptor=parts_now.receptor)
                sampler.change(at_us, Setup.of(parts_now, 0), deck)
                continue
            with contextlib.suppress(BadInput):
                deck = deck.after(what, at_us)
                sampler.change(at_us, None, deck)
        sampler.read(t_us)
    return np.concatenate(listener.heard, axis=1).tobytes()


@given(
    happenings=st.lists(HAPPENING, max_size=6),
    reads=st.lists(st.integers(1, LASTS_US), min_size=1, max_size=25),
)
def test_before_the_converter_not_one_bit_depends_on_the_reads(
    happenings: Happenings, reads: list[int]
) -> None:
    happenings = sorted(happenings, key=lambda h: h[0])
    assert heard(happenings, sorted(reads)) == heard(happenings, [])


@pytest.mark.parametrize("step_us", [12_500, 799_999, 7_777_777])
def test_cells_that_warm_wear_and_seat_give_the_same_bytes_however_read(step_us: int) -> None:
    happenings: Happenings = [
        (S // 2, 10),  # at rest until all cells have settled
        (8 * S, Place("a", 18_400.0, 2.0, 1.0)),
        (10 * S, Remove("a")),
        (11 * S, 11),
        (17 * S, Place("b", 30_000.0, 7.0, 1.0)),
        (19 * S, 1),
        (21 * S, 10),
        (27 * S, Place("c", 10_000.0, 7.0, 1.0)),
    ]
    whole = played(PLAIN, happenings, [])
    assert (
        played(PLAIN, happenings, [(t, k) for t in range(step_us, LASTS_US, step_us) for k in (0, 1)])
        == whole
    )
    assert heard(happenings, list(range(step_us, LASTS_US, step_us))) == heard(happenings, [])


@pytest.mark.parametrize("step_us", [12_500, 99_999, 800_000, 7_777_777])
def test_before_the_converter_even_steps_do_not_show_in_a_bit(step_us: int) -> None:
    assert heard(BUSY, list(range(step_us, LASTS_US, step_us))) == heard(BUSY, [])


def test_the_same_seed_gives_the_same_samples_and_another_others() -> None:
    def first(seed: int) -> bytes:
        return scale(healthy(PLAIN), seed).read(0, S).counts.tobytes()

    assert first(3) == first(3) != first(4)


def test_a_cell_draws_the_same_noise_whoever_else_draws() -> None:
    """Cell 5 beside a noisier station 1, and beside none."""
    quiet = healthy(replace(PLAIN, noise_rms_counts=0.0))
    assert np.array_equal(scale(quiet).read(1, S).counts, scale(healthy(PLAIN)).read(1, S).counts)


def test_half_a_minute_is_the_same_bytes_on_every_machine() -> None:
    """A golden digest: changes only when the physics is meant to change."""
    stations, _ = played(FILTERED, BUSY, [(t * S, t % 2) for t in range(30)])
    digest = hashlib.sha256(b"".join(b for station in stations for b in station)).hexdigest()
    assert digest == "f7f7f84cc7a5e31f5daf22900b01fa8fd5aa39d99bcf37061bb7de41919a0ac0"
