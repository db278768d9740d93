"""Verdicts: when a check looks, what it takes for kept; nothing passes for want of anything to see."""

from __future__ import annotations

from decimal import Decimal
from math import nan

import pytest

from benchsim.ground.readings import Event, LinkState
from benchsim.record.trace import Trace
from tests.checks.asked import kept, verdict
from tests.record.runs import between, indication, run, trace


def stepped(t_us: int) -> int:
    """Nothing up to 2 s, 920 d (18.4 t) from then on."""
    return 920 if t_us >= 2_000_000 else 0


@pytest.fixture
def step() -> Trace:
    """Six seconds: 18.4 t put on at 2 s, in motion from 2 s up to 3 s."""
    return run(60, stepped, motion=between(2, 3))


def with_events(made: Trace, *events: Event) -> Trace:
    for event in events:
        made.happened(event)
    return made


def done(t_us: int, text: str) -> Event:
    return Event(t_us, "command", text.split(" ")[0], text)


def refused(t_us: int, command: str, reason: str) -> Event:
    return Event(t_us, "command", command, f"{command}: {reason}", done=False)


# -- when ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("at 1.9 s gross is zero", True),
        ("at 1.999999 s gross is zero", True),  # what stood then is the update of 1.9 s
        ("at 2 s gross is zero", False),
        ("at 2 s gross is 18.4 t", True),
        ("at the end gross is 18.4 t", True),
        ("from 0 s to 1.9 s gross is zero", True),
        ("from 0 s to 2 s gross is zero", False),  # both ends count
        ("from 2 s on gross is 18.4 t", True),
        ("from 1.9 s on gross is 18.4 t", False),
        ("until 1.9 s gross is zero", True),
        ("until 2 s gross is zero", False),
        ("within 0.5 s after 1.5 s gross is 18.4 t", True),  # both ends count
        ("within 0.4 s after 1.5 s gross is 18.4 t", False),
        ("within 0 s after 2 s gross is 18.4 t", True),
        ("always gross is at most 18.4 t", True),
        ("always gross is below 18.4 t", False),
        ("never gross is between 1 t and 18 t", True),
        ("never gross is 18.4 t", False),
    ],
)
def test_times(step: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, step) is passes


@pytest.mark.parametrize(
    ("sentence", "at_us"),
    [
        ("within 4 s after 1 s gross is above 1 t", 2_000_000),
        ("always gross is zero", 2_000_000),
        ("never motion is on", 2_000_000),
        ("at 2.25 s gross is zero", 2_250_000),
        ("from 1 s to 2.5 s gross is zero", 2_000_000),
        ("for at least 0.5 s motion is on", 2_000_000),
        ("never for more than 0.5 s motion is on", 2_000_000),
    ],
)
def test_the_verdict_names_the_exact_instant(step: Trace, sentence: str, at_us: int) -> None:
    assert verdict(sentence, step).at_us == at_us


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        # A state lasts from the update that shows it up to the update that no longer does: 2 s to 3 s.
        ("for at least 1 s motion is on", True),
        ("for at least 1.000001 s motion is on", False),
        ("never for more than 1 s motion is on", True),
        ("never for more than 0.999999 s motion is on", False),
        ("for at least 2 s stable is on", True),  # 3 s to the last update, at 6 s
        ("for at least 3 s stable is on", True),
        ("for at least 3.000001 s stable is on", False),
        ("from 2.5 s to 6 s for at least 0.5 s motion is on", True),
        ("from 2.5 s to 6 s for at least 0.6 s motion is on", False),
        ("within 1 s after 1.5 s for at least 1 s motion is on", True),  # begins inside, may end outside
        ("within 0.4 s after 1.5 s for at least 1 s motion is on", False),
        ("never for more than 1 s overload is on", True),
        ("for at least 0 s overload is on", False),
    ],
)
def test_how_long(step: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, step) is passes


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("motion is on exactly once", True),
        ("stable is on exactly twice", True),  # it was at the start, and came back
        ("motion is on at least 2 times", False),
        ("overload is on exactly 0 times", True),
        ("from 2.5 s to 6 s motion is on exactly once", True),
        ("from 3 s to 6 s motion is on at most 0 times", True),
    ],
)
def test_how_often_a_state_begins(step: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, step) is passes


# -- nothing to look at ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sentence", "words"),
    [
        ("at 61 s gross is 18.4 t", "61 s is outside the run (the run ends at 6 s)"),
        ("at 0.05 s gross is zero", "no indication yet"),
        ("from 2.01 s to 2.09 s gross is 18.4 t", "no indication from 2.01 s to 2.09 s"),
        ("from 3 s to 9 s gross is 18.4 t", "the run ends at 6 s, before 9 s"),
        ("from 8 s to 9 s gross is 18.4 t", "8 s is outside the run"),
        ("always error is zero while overloaded", "nothing to judge: never overloaded"),
        ("at 1 s gross is zero while in motion", "at 1 s not in motion"),
        ("always node 1 is flow", "nothing heard of node 1 yet"),
        ("at 3 s node 1 is flow", "nothing heard of node 1 yet"),
        ("at 3 s cell 9 is zero", "there is no cell 9; the scale has 4"),
        ("during fault wind gross is zero", "the fault wind never began"),
        ("within 1 s after the end of fault wind gross is zero", "the fault wind never ended"),
        ("recorded", "no command record"),
        ("always command zero is done", "no command zero"),
        ('at 3 s answer of scp0499 is ""', "no answer of scp0499"),
        ("from 3 s to 9 s recorded at most 2 times", "the run ends at 6 s, before 9 s"),
        ("from 3 s to 9 s never recorded", "the run ends at 6 s, before 9 s"),
        ("from 3 s to 9 s never for more than 1 s motion is on", "the run ends at 6 s, before 9 s"),
        ("within 9 s after 3 s motion is on", "the run ends at 6 s, before 12 s"),
    ],
)
def test_nothing_passes_for_want_of_anything_to_see(step: Trace, sentence: str, words: str) -> None:
    given = verdict(sentence, step)
    assert words in given.found
    assert not given.passed


def test_a_never_whose_while_was_never_met_is_kept_and_says_so(step: Trace) -> None:
    given = verdict("never motion is on while gross is above 30 t", step)
    assert (given.passed, given.found) == (True, "kept: never gross is above 30 t")


def test_a_run_without_an_update_keeps_no_check_on_states() -> None:
    for sentence in ("at 0 s gross is zero", "always motion is off", "never overload is on", "at 0 s blank"):
        assert not kept(sentence, trace())


def test_a_weight_that_was_never_shown_is_not_judged() -> None:
    blank = run(20, overload=lambda t: True)
    given = verdict("never gross is above 5 t", blank)
    assert not given.passed
    assert "no figure shown: overload" in given.found


def test_times_may_come_up_to_one_update_after_the_last_or_to_the_end_the_bench_gave(step: Trace) -> None:
    assert kept("at 6.1 s gross is 18.4 t", step)
    assert not kept("at 6.100001 s gross is 18.4 t", step)
    step.ended_us = 6_050_000
    assert kept("at 6.05 s gross is 18.4 t", step)
    assert not kept("at 6.06 s gross is 18.4 t", step)


# -- where a weight counts -------------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["overload", "underload", "initial_zero_error"])
def test_a_weight_counts_only_where_a_figure_may_be_shown(state: str) -> None:
    made = trace()
    for t_us in (900_000, 1_000_000, 1_100_000):
        blank = t_us == 1_000_000
        made.add(indication(t_us, 5000 if blank else 0, **{state: blank}), 0.0, [0.0] * 4)
    assert kept("always gross is zero", made)
    assert kept("at 1 s indication is blank", made)
    assert not kept("at 1 s gross is 100 t", made)


def test_a_weight_does_not_count_while_the_indication_is_invalid() -> None:
    made = run(20, lambda t: 77 if t == 1_000_000 else 0, valid=lambda t: t != 1_000_000)
    assert kept("always gross is zero", made)
    assert not kept("never indication is invalid", made)
    assert not kept("always indication is valid", made)
    assert not kept("at 1 s gross is 77 d", made)


def test_a_verdict_tells_at_how_many_updates_there_was_nothing_to_judge() -> None:
    made = run(20, valid=lambda t: t >= 1_000_000)
    assert verdict("always gross is zero", made).found == (
        "kept at 11 of 20 updates, the others gave nothing to judge: gross 0 kg"
    )
    assert verdict("always gross is zero while valid", made).found == "kept at all 11 updates: gross 0 kg"


def test_a_flag_counts_only_on_a_valid_indication() -> None:
    made = run(20, motion=lambda t: t == 1_000_000, valid=lambda t: t != 1_000_000)
    assert kept("never motion is on", made)
    given = verdict("at 1 s motion is on", made)
    assert (given.passed, given.found) == (False, "an invalid indication: no reason given")


def test_zero_and_tare_errors_do_not_blank_the_weight() -> None:
    made = run(20, zero_error=lambda t: True, tare_error=lambda t: True)
    assert kept("always gross is zero", made)
    assert kept("always zero error is on", made)


def test_shown_is_net_while_a_tare_acts_else_gross() -> None:
    made = run(20, lambda t: 100, tare_d=lambda t: 40, shows_net=between(1, 9))
    assert kept("until 0.9 s shown is 100 d", made)
    assert kept("from 1 s on shown is 60 d", made)
    assert kept("always net is 60 d", made)
    assert kept("always tare is 40 d", made)
    assert kept("from 1 s on net shown is on", made)


def test_cells_true_mass_and_error() -> None:
    made = run(20, lambda t: 100, lambda t: 1990.0)
    assert kept("always true mass is 1.99 t", made)
    assert kept("always cell 4 is 497.5 kg", made)
    assert kept("always error is 0.5 d", made)
    assert kept("always error is 10 kg", made)
    assert not kept("always error is within 9.999999 kg", made)


def test_a_cell_may_have_a_figure_while_the_whole_has_none_and_the_other_way_round() -> None:
    made = trace(cells=2)
    made.add(indication(100_000, valid=False, reason="cell 1: no bridge"), 50.0, [nan, 25.0])
    made.add(indication(200_000, 5), nan, [nan, 25.0])
    assert kept("at 0.1 s cell 2 is 25 kg", made)
    assert verdict("at 0.2 s cell 1 is 25 kg", made).found == "no figure of cell 1"
    assert verdict("at 0.2 s error is zero", made).found == "no figure of error"
    assert not kept("at 0.2 s cell 1 is not 25 kg", made)


def test_fine_weights_are_in_tenths_of_d() -> None:
    made = run(20, lambda t: 100, lambda t: 1998.0, tenths_gross_d=lambda t: 999, tenths_net_d=lambda t: 499)
    assert kept("always fine gross is 99.9 d", made)
    assert kept("always fine net is 998 kg", made)
    assert kept("always fine error is zero", made)
    assert kept("always error is 2 kg", made)


def test_steady_begins_with_the_update_that_brought_the_last_change(step: Trace) -> None:
    assert kept("at 1.9 s gross is steady for 1.8 s", step)  # since the first update, at 0.1 s
    assert not kept("at 2 s gross is steady for 0.000001 s", step)
    assert kept("at 2.5 s gross is steady for 0.5 s", step)
    assert not kept("at 2.5 s gross is steady for 0.500001 s", step)
    assert kept("always gross is 18.4 t while gross is above zero and gross is steady for 1 s", step)


# -- reasons and nodes -----------------------------------------------------------------------------------


def test_reasons_of_an_invalid_indication() -> None:
    made = run(20, valid=lambda t: False, reason=lambda t: "Node 2: lost" if t < 1_000_000 else "a gap")
    assert kept('until 0.9 s indication is invalid with reason "node 2"', made)
    assert not kept('until 1 s indication is invalid with reason "node 2"', made)
    assert not kept('at 0.5 s indication is invalid with reason is "node 2: lost"', made)
    assert kept('at 0.5 s indication is invalid with reason is "Node 2: lost"', made)
    assert kept('always invalid with reason matches "^(Node \\\\d|a g)"', made)
    assert kept('from 1 s on indication is not valid with reason contains "A GAP"', made)


@pytest.fixture
def paired() -> Trace:
    """Node 2 seeks from 0 s, flows from 1 s, is lost from 3 s, flows from 4 s.  Node 1 flows from 1.05 s."""
    made = run(60)
    made.link(0, LinkState(2, "seek"))
    made.link(1_000_000, LinkState(2, "flow", "", "serial 0A"))
    made.link(1_050_000, LinkState(1, "flow"))
    made.link(3_000_000, LinkState(2, "lost", "silent for 1 s"))
    made.link(4_000_000, LinkState(2, "flow"))
    return made


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("at 0.999999 s node 2 is seek", True),
        ("at 1 s node 2 is flow", True),
        ("from 1 s to 2.999999 s node 2 is flow", True),
        ("from 1 s to 3 s node 2 is flow", False),
        ("from 1.2 s to 1.3 s node 2 is flow", True),  # no change inside: what stood there counts
        ("from 3.2 s to 3.3 s node 2 is not flow", True),
        ("never node 1 is lost", True),
        ("within 1 s after 3 s node 2 is flow", True),
        ("within 0.999999 s after 3 s node 2 is flow", False),
        ("never for more than 1 s node 2 is lost", True),
        ("for at least 2 s node 2 is flow", True),
        ("for at least 2.1 s node 2 is lost", False),
        ("node 2 is flow exactly twice", True),
        ('at 3.5 s node 2 is lost with reason "silent"', True),
        ('at 3.5 s node 2 is lost with reason "wrong key"', False),
        ("at 1 s node 1 is flow", False),
        ("from 1.05 s on node 1 is flow", True),
        ("always motion is off while node 2 is lost", True),
        ("never node 1 is flow while node 2 is lost", False),
    ],
)
def test_steps_of_a_node(paired: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, paired) is passes


# -- happenings ------------------------------------------------------------------------------------------


@pytest.fixture
def busy(step: Trace) -> Trace:
    return with_events(
        step,
        refused(500_000, "zero", "outside the zero-setting range, 2 % of Max"),
        done(1_000_000, "record"),
        refused(2_500_000, "record", "in motion"),
        done(3_000_000, "tare"),
        done(3_500_000, "preset tare 200"),
        done(4_000_000, "record"),
        done(4_500_000, "clear tare"),
    )


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("recorded", True),
        ("recorded exactly twice", True),
        ("recorded at least 3 times", False),
        ("recorded exactly twice while stable", True),
        ("recorded once while gross is above 1 t", True),
        ("never recorded while in motion", True),
        ("never recorded while stable", False),
        ("from 2 s to 3.9 s never recorded", True),
        ("from 2 s to 4 s never recorded", False),
        ("at 1 s recorded", True),
        ("at 1.1 s recorded", False),  # a command is asked for at exactly its time
        ("at 2.5 s recording is refused", True),
        ('at 2.5 s recording is refused with reason "motion"', True),
        ('at 2.5 s recording is refused with reason "below zero"', False),
        ("at 2.5 s recording is done", False),
        ("always recording is done", False),
        ("always recording is done while stable", True),
        ("always command zero is refused", True),
        ("command tare is done once", True),  # neither preset tare nor clear tare
        ("command preset tare is done once", True),
        ("at 4.5 s command clear tare is done", True),
        ("within 1 s after 3 s recorded", True),
        ("within 0.9 s after 3 s recorded", False),
    ],
)
def test_commands(busy: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, busy) is passes


def test_the_moment_of_a_happening_is_told(busy: Trace) -> None:
    assert verdict("from 2 s on recorded", busy).at_us == 4_000_000
    assert verdict("never recorded", busy).at_us == 1_000_000
    assert verdict("always recording is done", busy).at_us == 2_500_000


def answer(t_us: int, octets: bytes, protocol: str = "scp0499") -> Event:
    return Event(t_us, "answer", protocol, repr(octets), octets=octets)


def request(t_us: int, protocol: str = "scp0499") -> Event:
    return Event(t_us, "client", protocol, f"ask {protocol}")


@pytest.fixture
def spoken(step: Trace) -> Trace:
    return with_events(
        step,
        answer(1_000_000, b"\n 1G      0 kg \r"),
        request(1_000_000),
        answer(2_000_000, b"\n 1GM  18400kg \r"),
        answer(2_000_000, b"other", "lines"),
        request(5_000_000),
    )


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ('at 1 s answer of scp0499 is "\\n 1G      0 kg \\r"', True),
        ('at 1.9 s answer of scp0499 is "\\n 1G      0 kg \\r"', True),  # the last one up to then
        ('at 2 s answer of scp0499 contains "M"', True),
        ('at 2 s answer of scp0499 starts with "\\n 1GM"', True),
        ('at 2 s answer of scp0499 matches "^\\n.1GM +\\\\d+kg \\r$"', True),
        ('at 2 s answer of scp0499 contains "m"', False),  # bytes are compared as they are
        ('at 2 s answer of scp0499 is "other"', False),
        ('at 2 s answer of lines is "other"', True),
        ('at 2 s answer of scp0499 is not "other"', True),
        ('at 0.9 s answer of scp0499 is not "other"', False),  # there was none
        ('at 5.5 s answer of scp0499 contains "M"', False),  # none since the request at 5 s
        ('always answer of scp0499 starts with "\\n"', True),
        ('never answer of scp0499 contains "?"', True),
        ('within 1 s after 1.5 s answer of scp0499 contains "M"', True),
        ('answer of scp0499 contains "1G" exactly twice', True),
        ('answer of scp0499 contains "1G" once while in motion', True),
    ],
)
def test_answers(spoken: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, spoken) is passes


def test_the_last_answer_is_the_last_by_time_not_by_place(step: Trace) -> None:
    with_events(step, answer(2_000_000, b"late"), answer(1_000_000, b"early"))
    assert kept('at 3 s answer of scp0499 is "late"', step)


# -- faults ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["silence", "link-outage"])
@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("during fault NAME gross is 18.4 t", True),
        ("from the start of fault NAME to the end of fault NAME stable is on", False),
        ("at the start of fault NAME motion is on", True),
        ("at the end of fault NAME motion is on", False),
        ("until the start of fault NAME gross is zero", False),
        ("from the end of fault NAME on stable is on", True),
        ("within 1 s after the start of fault NAME stable is on", True),
    ],
)
def test_a_fault_can_be_named_by_its_own_name_or_the_catalogue_s(
    step: Trace, name: str, sentence: str, passes: bool
) -> None:
    with_events(
        step,
        Event(1_000_000, "fault", "other", "start link-outage-of-another-kind as other"),
        Event(2_500_000, "fault", "silence", "start link-outage on 2 as silence"),
        Event(3_200_000, "fault", "silence", "end fault silence"),
    )
    assert kept(sentence.replace("NAME", name), step) is passes


def test_a_stretch_between_faults_that_runs_backwards_is_told(step: Trace) -> None:
    with_events(
        step,
        Event(1_000_000, "fault", "a", "start wind-gust as a"),
        Event(2_000_000, "fault", "a", "end fault a"),
        Event(3_000_000, "fault", "b", "start wind-gust as b"),
    )
    given = verdict("from the start of fault b to the end of fault a gross is zero", step)
    assert (given.passed, given.found) == (False, "the stretch from 3 s to 2 s runs backwards")


def test_a_fault_that_never_ends_acts_to_the_end_of_the_run(step: Trace) -> None:
    with_events(step, Event(3_000_000, "fault", "wind", "start wind-gust as wind"))
    assert kept("during fault wind stable is on", step)
    assert verdict("during fault wind stable is on", step).found == "kept at all 31 updates"


# -- exactly at the limit --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sentence", "counts"),
    [
        ("always gross is 100 kg within 1 d", {4, 5, 6}),
        ("always gross is 100 kg within 19.999999 kg", {5}),
        ("always gross is 110 kg within 10 kg", {5, 6}),
        ("always gross is above 100 kg", {6, 7}),
        ("always gross is not above 100 kg", {3, 4, 5}),
        ("always gross is above 99.999999 kg", {5, 6, 7}),
        ("always gross is at least 100.000001 kg", {6, 7}),
        # Limits finer than anything that is compared: half a microgram off 100 kg.
        ("always gross is above 99.9999999995 kg", {5, 6, 7}),
        ("always gross is below 100.0000000005 kg", {3, 4, 5}),
        ("always gross is at least 99.9999999995 kg", {5, 6, 7}),
        ("always gross is at most 100.0000000005 kg", {3, 4, 5}),
        ("always gross is at least 100.0000000005 kg", {6, 7}),
        ("always gross is 100.0000000005 kg within 0.0000000005 kg", {5}),
        ("always gross is 100.0000000005 kg within 0.0000000004 kg", set()),
        ("always gross is below 100 kg", {3, 4}),
        ("always gross is at most 100 kg", {3, 4, 5}),
        ("always gross is between 80 kg and 120 kg", {4, 5, 6}),
        ("always gross is not between 80 kg and 120 kg", {3, 7}),
        ("always gross is between 80.000001 kg and 119.999999 kg", {5}),
        ("always gross is 100.1 kg", set()),
        ("always gross is not 100 kg", {3, 4, 6, 7}),
        ("always gross is 100 kg within 20 %", {4, 5, 6}),
        ("always gross is 100 kg within 19.99 %", {5}),
    ],
)
def test_weights_at_the_limit(sentence: str, counts: set[int]) -> None:
    assert {c for c in range(3, 8) if kept(sentence, run(3, lambda t, c=c: c))} == counts  # type: ignore[misc]


@pytest.mark.parametrize("interval", ["0.1", "0.2", "0.05", "0.001", "20", "0.00002"])
@pytest.mark.parametrize("count", [1, 3, 7, 33, 2999])
def test_no_float_decides_at_the_limit(interval: str, count: int) -> None:
    """0.3 kg is not three times 0.1 kg in floats; a display of 0.3 kg is 0.3 kg all the same."""
    d = Decimal(interval)
    made = run(3, lambda t: count + 1, lambda t: sum([float(d)] * count), interval=d)
    assert kept(f"always gross is {(count + 1) * d:f} kg", made)
    assert kept(f"always true mass is {count * d:f} kg", made)
    assert kept("always error is within 1 d", made)
    assert kept("always error is 1 d", made)
    assert not kept("always error is below 1 d", made)
    assert not kept("always error is within 0.999999 d", made)


def test_two_weights_are_compared_to_a_microgram() -> None:
    made = run(3, lambda t: 5, lambda t: 100.000000001)
    assert kept("always gross is true mass within 0.000000001 kg", made)
    assert not kept("always gross is true mass within 0.0000000005 kg", made)
    assert not kept("always gross is true mass", made)
    assert kept("always gross is below true mass", made)


def test_a_share_of_another_weight_at_the_limit() -> None:
    made = run(3, lambda t: 105, lambda t: 2000.0)
    assert kept("always gross is true mass within 5 %", made)
    given = verdict("always gross is true mass within 4.99999999999999999999 %", made)
    assert (given.passed, given.expected) == (False, "always gross 2 t ± 99.999999999 kg")


def test_absurd_figures_are_judged_all_the_same() -> None:
    made = run(3, lambda t: 2**58, lambda t: 1e300)
    assert kept("always gross is above 60 t", made)
    assert not kept("always gross is above 1e30 t", made)
    assert kept("always gross is below 1e30 t", made)
    assert not kept("always true mass is zero", made)


@pytest.mark.parametrize("mass_kg", [nan, float("inf")])
def test_a_true_mass_that_is_no_number_is_not_judged(mass_kg: float) -> None:
    given = verdict("always true mass is zero", run(3, true_kg=lambda t: mass_kg))
    assert not given.passed
    assert "no figure of true mass" in given.found


def test_a_verdict_carries_the_name_of_its_check() -> None:
    assert verdict("always gross is zero", run(3)).name == "always gross is zero"
