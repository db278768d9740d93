"""Verdicts on what happens: commands, answers; and between faults."""

from __future__ import annotations

import pytest

from benchsim.ground.readings import Event
from benchsim.record.trace import Trace
from tests.checks.asked import kept, step_run, verdict, with_events


@pytest.fixture
def step() -> Trace:
    return step_run()


def done(t_us: int, text: str) -> Event:
    return Event(t_us, "command", text.split(" ")[0], text)


def refused(t_us: int, command: str, reason: str) -> Event:
    return Event(t_us, "command", command, f"{command}: {reason}", done=False)


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
        ('from 0 s to 3 s answer of scp0499 is not "other"', True),
        (
            'from 0 s to 3 s answer of scp0499 is not "\\n 1G      0 kg \\r"',
            False,
        ),  # the second is another one
        ('from 1.5 s to 3 s answer of scp0499 is not "\\n 1G      0 kg \\r"', True),
        ('from 3 s to 4 s answer of scp0499 is not "other"', False),  # there was none
        ('answer of scp0499 is not "\\n 1G      0 kg \\r" exactly once', True),
        ('never answer of scp0499 is not "other"', False),
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
