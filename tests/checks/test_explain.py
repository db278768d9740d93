"""A verdict tells a technician what was expected and what was found."""

from __future__ import annotations

import pytest

from benchsim.ground.readings import Event, LinkState
from benchsim.record.trace import Trace
from tests.checks.asked import verdict
from tests.record.runs import between, run


@pytest.fixture
def made() -> Trace:
    lost = between(4, 5)
    one = run(
        60,
        lambda t: 918 if t >= 2_000_000 else 0,
        lambda t: 18_400.0 if t >= 2_000_000 else 0.0,
        motion=between(2, 3),
        valid=lambda t: not lost(t),
        reason=lambda t: "node 2: lost" if lost(t) else "",
    )
    one.link(0, LinkState(2, "flow", "", "serial 0A"))
    one.link(3_900_000, LinkState(2, "lost", "lost: silent for 1 s", "serial 0A"))
    one.happened(Event(2_500_000, "command", "record", "record: in motion", done=False))
    one.happened(Event(3_500_000, "answer", "scp0499", "", octets=b'\n 1G "x"\\ \xff\r'))
    return one


@pytest.mark.parametrize(
    ("sentence", "expected", "found"),
    [
        ("at 3 s gross is 18.4 t within 1 d", "gross 18.4 t ± 20 kg", "gross 18360 kg (-2 d off)"),
        ("at 3 s gross is 18.4 t", "gross 18.4 t", "gross 18360 kg (-2 d off)"),
        ("at 3 s gross is above 19 t", "gross above 19 t", "gross 18360 kg"),
        ("at 3 s gross is between 1 t and 2 t", "gross between 1 t and 2 t", "gross 18360 kg"),
        ("at 3 s gross is true mass", "gross 18.4 t", "gross 18360 kg, true mass 18.4 t (-2 d off)"),
        ("at 3 s error is within 1 d", "error ± 20 kg", "error -40 kg (-2 d)"),
        (
            "at 3 s error is within maintenance mpe while motion is on",
            "error ± 40 kg (NIST Handbook 44, section 2.20 T.N.3.1, Table 6, maintenance) while motion is on",
            "nothing to judge: at 3 s not motion is on",
        ),
        ("at 3 s cell 1 is zero", "cell 1 0 kg", "cell 1 4.6 t (+230 d off)"),
        ("at 2 s stable", "stable", "motion on"),
        ("at 4 s gross is zero", "gross 0 kg", "an invalid indication: node 2: lost"),
        ("at 3 s indication is blank", "indication is blank", "the display shows 18360 kg"),
        ("at 4 s node 2 is flow", "node 2 is flow", "node 2 lost: silent for 1 s (serial 0A)"),
        (
            "always indication is valid",
            "always indication is valid",
            "an invalid indication: node 2: lost at 4 s (and 9 more times up to 4.9 s)",
        ),
        (
            "within 1 s after 2.5 s gross is 1 t",
            "gross 1 t",
            "not once from 2.5 s on: last gross 18360 kg (+868 d off) at 3.5 s",
        ),
        (
            "until 1 s gross is zero within 1 d",
            "always gross 0 kg ± 20 kg",
            "kept at all 10 updates: gross 0 kg",
        ),
        (
            "never for more than 0.5 s indication is invalid",
            "never for more than 0.5 s indication is invalid",
            "longest 1 s, from 4 s to 5 s",
        ),
        ("motion is on exactly twice", "motion is on, exactly 2 times", "1 time: 2 s"),
        ("recorded", "recorded", "record refused at 2.5 s: in motion"),
        (
            'at 4 s answer of scp0499 contains "?"',
            'answer of scp0499 contains "?"',
            'answer "\\n 1G \\"x\\"\\\\ \\xff\\r" at 3.5 s',
        ),
    ],
)
def test_what_was_expected_and_what_was_found(made: Trace, sentence: str, expected: str, found: str) -> None:
    given = verdict(sentence, made)
    assert (given.expected, given.found) == (expected, found)


def test_bytes_found_can_be_copied_into_a_check(made: Trace) -> None:
    found = verdict('at 4 s answer of scp0499 is "?"', made).found
    copied = found.removeprefix("answer ").removesuffix(" at 3.5 s")
    assert verdict(f"at 4 s answer of scp0499 is {copied}", made).passed
