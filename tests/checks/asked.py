"""What a sentence comes to on a run, in one call."""

from __future__ import annotations

from benchsim.checks.judge import Verdict, judge
from benchsim.checks.sentence import parse
from benchsim.record.trace import Trace
from benchsim.rules.profile import load_profile

PROFILE = load_profile("hb44-iiil-vehicle")
R76 = load_profile("r76-iii")


def verdict(sentence: str, made: Trace) -> Verdict:
    return judge(parse(sentence), made, PROFILE)


def kept(sentence: str, made: Trace) -> bool:
    return verdict(sentence, made).passed
