"""The lamp on a node: what a technician sees there, and what it means; one state, the worst there is."""

from __future__ import annotations

from benchsim.link.steps import Step
from benchsim.scale.self_test import GOOD

# state: what it means.
DARK, FLICKER, DOUBLE, STEADY, QUICK, SLOW, FADING = (
    "dark", "flickering", "double flash", "steady", "quick flash", "slow flash", "fading",
)  # fmt: skip
MEANINGS = {
    DARK: "no power",
    FLICKER: "its supply is low",
    DOUBLE: "a channel fails its self-test",
    STEADY: "its samples flow",
    QUICK: "it answers a host that seeks it",
    FADING: "it has lost its host",
    SLOW: "it waits for a host",
}
_BY_STEP = {Step.FLOW: STEADY, Step.OFFER: QUICK, Step.LOST: FADING}


def lamp(powered: bool, low: bool, tests: tuple[str, ...], step: Step) -> str:
    """The state of the lamp.  tests: what the self-test found of each channel."""
    if not powered:
        return DARK
    if low:
        return FLICKER
    if any(found != GOOD for found in tests):
        return DOUBLE
    return _BY_STEP.get(step, SLOW)


def in_words(state: str, tests: tuple[str, ...]) -> str:
    """A state and its meaning: "double flash: a channel fails its self-test (channel 2: open)"."""
    bad = ", ".join(f"channel {n}: {found}" for n, found in enumerate(tests, 1) if found != GOOD)
    return f"{state}: {MEANINGS[state]}" + (f" ({bad})" if bad and state == DOUBLE else "")
