"""What a sentence comes to on a run, in one call."""

from __future__ import annotations

from benchsim.checks.judge import Verdict, judge
from benchsim.checks.sentence import parse
from benchsim.ground.readings import Event
from benchsim.record.trace import Trace
from benchsim.rules.profile import load_profile
from tests.record.runs import between, run

PROFILE = load_profile("hb44-iiil-vehicle")
R76 = load_profile("r76-iii")


def verdict(sentence: str, made: Trace) -> Verdict:
    return judge(parse(sentence), made, PROFILE)


def kept(sentence: str, made: Trace) -> bool:
    return verdict(sentence, made).passed


def stepped(t_us: int) -> int:
    """Nothing up to 2 s, 920 d (18.4 t) from then on."""
    return 920 if t_us >= 2_000_000 else 0


def step_run() -> Trace:
    """Six seconds: 18.4 t put on at 2 s, in motion from 2 s up to 3 s."""
    return run(60, stepped, motion=between(2, 3))


def with_events(made: Trace, *events: Event) -> Trace:
    for event in events:
        made.happened(event)
    return made
