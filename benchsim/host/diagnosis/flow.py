"""How a node's frames came: whether they flowed, what was lost, how late, and whether beats were answered."""

from __future__ import annotations

import numpy as np

from benchsim.ground.clock import SECOND_US
from benchsim.host.diagnosis.hearing import NodeColumns, clock_ppm
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign
from benchsim.link.steps import Reason, Step

_REASONS = (
    Reason.NOBODY, Reason.TWO_NODES, Reason.ANOTHER_NODE, Reason.WRONG_NETWORK, Reason.WRONG_KEY,
    Reason.BOUND, Reason.FEW_CHANNELS, Reason.RATE, Reason.POOR, Reason.VERSION, Reason.FINGERPRINT,
    Reason.TIMED_OUT,
)  # fmt: skip
WORDS = {
    "flow": ("flows", "taken up again", "began anew", "lost for good", "never flowed"),
    "refusal": ("none", *(str(reason) for reason in _REASONS)),
    "losses": ("none", "some", "many"),
    "runs": ("none", "single", "in bursts"),
    "refused": ("hardly any", "some", "many"),
    "overtaken": ("hardly any", "often"),
    "silences": ("none", "one", "several"),
    "lateness": ("prompt", "late", "very late"),
    "unevenness": ("even", "uneven", "very uneven"),
    "trips": ("short", "long", "very long"),
    "echoes": ("answered", "some missing", "most missing"),
    "clock": ("right", "fast", "slow"),
}
LOSS, AGAIN, LATE_US, UNEVEN_US, TRIP_US, ECHOES, CLOCK_PPM = 0.02, 0.03, 60_000, 45_000, 90_000, 0.12, 100.0
"""Limits, own choice: share of frames lost, and of those that come again or are overtaken; delay, its spread
and the round trip; share of beats without an answer, and error of a node's clock: what a sound cable or
radio and an ordinary crystal stay within."""
_SILENCE_US = 1_500_000
_LOUD = 1000.0


def signs(looks: Looks, address: int) -> list[Sign]:
    """Of one node."""
    node = looks.hearing.nodes[address]
    made = [_flow(node), _refusal(node)]
    if len(node.first) < 20:
        lacks = "too few frames came"
        return made + [Sign(name, UNKNOWN, 0.0, lacks) for name in WORDS if name not in ("flow", "refusal")]
    return [
        *made,
        *_gaps(looks, node),
        *_delays(looks, node),
        _echoes(looks, node),
        _clock(node),
        _refused(looks, address),
        _overtaken(node),
    ]


def _flow(node: NodeColumns) -> Sign:
    steps = [state.step for state in node.states]
    if Step.FLOW not in steps:
        return Sign("flow", "never flowed", _LOUD, "it never flowed")
    after = steps[steps.index(Step.FLOW) :]
    losses = sum(step in (Step.LOST, Step.FAILED) for step in after)
    if not losses:
        return Sign("flow", "flows", 0.0, "it flowed all the time")
    if after[-1] != Step.FLOW:
        return Sign("flow", "lost for good", _LOUD, f"it flowed and was lost ({losses} times in all)")
    anew = Step.PROVE in after
    how = "as one that had begun anew" if anew else "in its session"
    text = f"it was lost {losses} times and came back {how}"
    return Sign("flow", "began anew" if anew else "taken up again", _LOUD, text)


def _refusal(node: NodeColumns) -> Sign:
    said = [s.reason for s in node.states if s.reason in _REASONS]
    if not said:
        return Sign("refusal", "none", 0.0, "nothing was refused")
    # Of two addresses with something wrong, the one where nobody is has lost its node.
    size = _LOUD if said[-1] != Reason.TWO_NODES else _LOUD / 2.0
    return Sign("refusal", str(said[-1]), size, f"pairing failed: {said[-1]}")


def _gaps(looks: Looks, node: NodeColumns) -> list[Sign]:
    lost: list[int] = []
    sent = 0
    for run in np.unique(node.run).tolist():
        first = np.unique(node.first[(node.run == run) & ~node.resent])
        missing = np.diff(first) // node.rows - 1
        lost += missing[missing > 0].tolist()
        sent += int(np.ptp(first)) // node.rows + 1 if len(first) else 0
    longest = _SILENCE_US * looks.case.rate_hz // (SECOND_US * node.rows)
    short = [n for n in lost if n <= longest]
    silences = len(lost) - len(short) + len(np.unique(node.run)) - 1
    share = sum(short) / max(sent, 1)
    size = share / LOSS
    word = "none" if size <= 1.0 else "some" if share < 0.1 else "many"
    made = [Sign("losses", word, size, f"{share:.1%} of its {sent} frames were lost on the way")]
    if size <= 1.0 or len(short) < 3:
        made.append(Sign("runs", "none", 0.0, "too few losses to tell"))
    else:
        mean = float(np.mean(short))
        word = "in bursts" if mean > 1.0 / (1.0 - min(share, 0.6)) + 0.5 else "single"
        made.append(Sign("runs", word, mean, f"{mean:.1f} frames are lost in a row, on average"))
    word = "none" if not silences else "one" if silences == 1 else "several"
    text = f"it fell silent for more than {_SILENCE_US / SECOND_US:g} s {silences} times"
    return [*made, Sign("silences", word, 10.0 * silences, text)]


def _delays(looks: Looks, node: NodeColumns) -> list[Sign]:
    fresh = np.flatnonzero(~node.resent)
    late_us = (
        node.arrived_us[fresh] - node.begins_us[fresh] - (node.rows - 1) * SECOND_US // looks.case.rate_hz
    )
    middle_us = float(np.median(late_us))
    spread_us = float(np.quantile(late_us, 0.95) - np.quantile(late_us, 0.05))
    made = [
        _graded("lateness", middle_us / LATE_US, f"frames come {middle_us / 1000:.0f} ms late, on average"),
        _graded(
            "unevenness",
            spread_us / UNEVEN_US,
            f"and {spread_us / 1000:.0f} ms apart from each other in that",
        ),
    ]
    if not len(node.looks):
        return [*made, Sign("trips", UNKNOWN, 0.0, "no beat was answered")]
    trip_us = float(np.median(node.looks[:, 2]))
    return [*made, _graded("trips", trip_us / TRIP_US, f"a beat and its echo take {trip_us / 1000:.0f} ms")]


def _graded(name: str, size: float, text: str) -> Sign:
    quiet, loud, very = WORDS[name]
    return Sign(name, quiet if size <= 1.0 else loud if size <= 5.0 else very, size, text)


def _echoes(looks: Looks, node: NodeColumns) -> Sign:
    flows_us = _flowing_us(looks, node)
    due = flows_us / looks.case.beat_us
    if due < 10:
        return Sign("echoes", UNKNOWN, 0.0, "it did not flow for long enough")
    missing = max(0.0, 1.0 - len(node.looks) / due)
    size = missing / ECHOES
    word = "answered" if size <= 1.0 else "some missing" if missing < 0.6 else "most missing"
    return Sign("echoes", word, size, f"{missing:.0%} of about {due:.0f} beats had no echo")


def _flowing_us(looks: Looks, node: NodeColumns) -> int:
    """For how long it flowed while notes were made."""
    notes = looks.case.notes
    if not notes:
        return 0
    begins_us, ends_us = notes[0].from_us, notes[-1].until_us
    edges_us = [max(begins_us, min(state.since_us, ends_us)) for state in node.states] + [ends_us]
    flows = [state.step == Step.FLOW for state in node.states]
    return sum(edges_us[n + 1] - edges_us[n] for n, flowing in enumerate(flows) if flowing)


def _refused(looks: Looks, address: int) -> Sign:
    not_taken, node = looks.hearing.not_taken, looks.hearing.nodes[address]
    if address not in not_taken:
        return Sign("refused", UNKNOWN, 0.0, "nobody counted what was refused")
    share = not_taken[address] / len(node.first)
    size = share / AGAIN
    word = "hardly any" if size <= 1.0 else "some" if size <= 5.0 else "many"
    text = f"the host would not take {not_taken[address]} frames, {share:.1%} of those it took"
    return Sign("refused", word, size, text)


def _overtaken(node: NodeColumns) -> Sign:
    first = node.first[~node.resent]
    behind = first < np.maximum.accumulate(first)
    share = float(behind.mean())
    size = share / AGAIN
    text = f"{share:.1%} of its frames were overtaken by later ones"
    return Sign("overtaken", "hardly any" if size <= 1.0 else "often", size, text)


def _clock(node: NodeColumns) -> Sign:
    told = clock_ppm(node)
    if told is None:
        return Sign("clock", UNKNOWN, 0.0, "its clock was not read often enough")
    ppm, doubt = told
    size = max(0.0, abs(ppm) - 4.0 * doubt) / CLOCK_PPM
    word = "right" if size <= 1.0 else "fast" if ppm > 0 else "slow"
    return Sign("clock", word, size, f"its clock runs {abs(ppm):.0f} ppm {'fast' if ppm > 0 else 'slow'}")
