"""One run as columns."""

from __future__ import annotations

import sys

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.readings import Event, Indication, LinkState
from benchsim.record.trace import FLAGS, Flag, Trace, row_dtype
from tests.record.runs import MAX_D, D, indication, run, trace

COUNT = st.integers(-(2**40), 2**40)


@st.composite
def indications(draw: st.DrawFn) -> list[Indication]:
    times = sorted(draw(st.sets(st.integers(0, 10**9), max_size=8)))
    words = st.sampled_from(["", "not paired", "node 2: lost", "gap"])
    return [
        indication(
            t,
            draw(COUNT),
            reason=draw(words),
            tare_d=draw(COUNT),
            tenths_gross_d=draw(COUNT),
            tenths_net_d=draw(COUNT),
            **{flag: draw(st.booleans()) for flag in FLAGS},
        )
        for t in times
    ]


@given(indications())
def test_an_indication_comes_back_as_it_was_put_in(given_ones: list[Indication]) -> None:
    made = trace(cells=2)
    for one in given_ones:
        made.add(one, 1.5, [1.0, 2.0])
    assert [made.indication_at(one.t_us) for one in given_ones] == given_ones


@given(indications())
def test_columns_say_the_same_as_the_indications(given_ones: list[Indication]) -> None:
    made = trace(cells=2)
    for one in given_ones:
        made.add(one, one.gross_d / 7, [one.net_d / 3, 0.25])
    columns = made.columns()
    assert columns.gross_d.tolist() == [one.gross_d for one in given_ones]
    assert columns.true_kg.tolist() == [one.gross_d / 7 for one in given_ones]
    assert columns.cells_kg.shape == (len(given_ones), 2)
    assert columns.cells_kg[:, 0].tolist() == [one.net_d / 3 for one in given_ones]
    assert [columns.reasons[i] for i in columns.reason] == [one.reason for one in given_ones]
    assert columns.shows_figure().tolist() == [one.shows_figure for one in given_ones]
    for bit, name in enumerate(FLAGS):
        assert columns.flag(Flag(1 << bit)).tolist() == [getattr(one, name) for one in given_ones]


def test_every_state_of_an_indication_has_its_flag() -> None:
    states = {name for name, kind in Indication.__annotations__.items() if kind == "bool"}
    assert set(FLAGS) == states


def test_the_indication_at_an_instant_is_the_last_at_or_before_it() -> None:
    made = run(3, gross_d=lambda t: t // 100_000)
    assert made.indication_at(99_999) is None
    at = {t: made.indication_at(t) for t in (100_000, 199_999, 200_000, 9_000_000)}
    assert {t: one.gross_d for t, one in at.items() if one} == {
        100_000: 1, 199_999: 1, 200_000: 2, 9_000_000: 3,
    }  # fmt: skip


def test_an_empty_trace_has_columns_too() -> None:
    columns = trace(cells=3).columns()
    assert len(columns.t_us) == 0
    assert columns.cells_kg.shape == (0, 3)
    assert columns.reasons == ("",)


def test_columns_taken_once_do_not_change_when_the_run_goes_on() -> None:
    made = run(2)
    before = made.columns()
    made.add(indication(900_000, 5), 100.0, [25.0] * 4)
    assert len(before.t_us) == 2
    assert made.columns().gross_d.tolist() == [0, 0, 5]


def test_columns_are_made_once_while_nothing_is_added() -> None:
    made = run(2)
    assert made.columns() is made.columns()


def test_events_and_link_states_stay_in_order() -> None:
    made = trace()
    events = [Event(t, "command", "zero", "zero") for t in (5, 5, 9)]
    states = [(1, LinkState(1, "seek")), (3, LinkState(2, "seek")), (3, LinkState(1, "flow"))]
    for event in events:
        made.happened(event)
    for t_us, state in states:
        made.link(t_us, state)
    assert (made.events, made.link_states) == (events, states)


def test_the_run_ends_with_the_last_thing_in_it_unless_the_bench_says_otherwise() -> None:
    made = run(3)
    assert made.last_us() == 300_000
    made.happened(Event(450_000, "command", "zero", "zero"))
    assert made.last_us() == 450_000
    made.link(460_000, LinkState(1, "flow"))
    assert made.last_us() == 460_000
    made.ended_us = 500_000
    assert made.last_us() == 500_000
    assert trace().last_us() == 0


def test_rows_of_another_trace_keep_their_reasons() -> None:
    one, other = trace(), trace()
    one.add(indication(1, valid=False, reason="not paired"), 0.0, [0.0] * 4)
    one.add(indication(2, valid=False, reason="gap"), 0.0, [0.0] * 4)
    other.add(indication(0, valid=False, reason="gap"), 0.0, [0.0] * 4)
    other.add_columns(one.columns())
    told = [other.indication(i).reason for i in range(3)]
    assert told == ["gap", "not paired", "gap"]


def test_an_hour_of_sixteen_cells_stays_small() -> None:
    made = Trace(16, D, "kg", MAX_D)
    cells = [1.0] * 16
    for i in range(3600):
        made.add(indication(i), 1.0, cells)
    octets = len(made._rows) + made._times.itemsize * len(made._times)
    assert octets * 10 < 10_000_000


def test_a_cell_that_has_no_figure_stays_no_number() -> None:
    made = trace(cells=2)
    made.add(indication(1), float("nan"), [float("nan"), 1.0])
    assert np.isnan(made.columns().true_kg).all()
    assert np.isnan(made.columns().cells_kg).tolist() == [[True, False]]


@given(indications(), st.integers(-1, 10**9 + 1))
def test_what_is_kept_after_forgetting_is_as_it_was(given_ones: list[Indication], t_us: int) -> None:
    made, whole = trace(cells=2), trace(cells=2)
    for one in given_ones:
        for each in (made, whole):
            each.add(one, one.gross_d / 7, [1.0, 2.0])
            each.happened(Event(one.t_us, "command", "zero", "zero"))
    made.columns()
    made.forget_before(t_us)
    kept = [one for one in given_ones if one.t_us >= t_us]
    for at_us in (t_us, *(one.t_us for one in kept), 2 * 10**9):
        if at_us >= t_us:
            assert made.indication_at(at_us) == whole.indication_at(at_us)
    assert made.last_us() == whole.last_us()
    columns = made.columns()
    assert columns.gross_d.tolist()[len(columns.t_us) - len(kept) :] == [one.gross_d for one in kept]
    assert columns.true_kg.tolist() == [made.indication(i).gross_d / 7 for i in range(len(made))]
    assert len(made) <= len(kept) + 1
    assert [event.t_us for event in made.events] == [one.t_us for one in kept]
    assert made.events_gone + len(made.events) == len(given_ones)


def test_a_row_added_after_forgetting_one_is_in_the_columns() -> None:
    made = run(3)
    assert len(made.columns().t_us) == 3
    made.forget_before(200_000)
    made.add(indication(400_000, 5), 100.0, [25.0] * 4)
    assert made.columns().t_us.tolist() == [200_000, 300_000, 400_000]


def test_the_link_state_that_stands_is_not_forgotten() -> None:
    made = trace()
    states = [(t, LinkState(a, step)) for t, a, step in ((1, 1, "seek"), (2, 2, "seek"), (3, 1, "flow"))]
    for t_us, state in (*states, (9, LinkState(1, "lost"))):
        made.link(t_us, state)
    made.forget_before(5)
    assert made.link_states == [*states[1:], (9, LinkState(1, "lost"))]
    made.forget_before(9)
    assert made.link_states == [states[1], (9, LinkState(1, "lost"))]
    assert made.link_states_gone == 2


def test_of_many_young_events_the_newest_stay() -> None:
    made = trace()
    for t_us in range(100):
        made.happened(Event(t_us, "command", "zero", "zero", done=False))
    made.forget_before(0, most_events=10)
    assert [event.t_us for event in made.events] == list(range(90, 100))
    assert made.events_gone == 90
    made.forget_before(200)
    assert (made.events, made.last_us()) == ([], 99)


def test_a_run_that_forgets_does_not_grow() -> None:
    made, sizes = run(1), []
    for t_us in range(2, 50_000):
        made.add(indication(t_us * 100_000), 1.0, [1.0] * 4)
        if t_us % 600 == 0:
            made.forget_before(t_us * 100_000 - 360_000_000)
            sizes.append((len(made), sys.getsizeof(made._rows)))
    rows, octets = zip(*sizes[-10:], strict=True)
    assert max(rows) == 3_601
    assert max(octets) < 2 * 4_200 * row_dtype(4).itemsize
