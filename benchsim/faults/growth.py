"""A fault that grows: the part between healthy and faulty, at any share of the way.

Whatever is a figure moves in a straight line; what a fault adds (a leak, a creep term, an impairment) is
added in that share.  What is there or not there (a lead that is off, a crossed pair, an address) cannot grow.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

from benchsim.ground.errors import BadInput
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.burst import Burst
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.outage import Outage
from benchsim.link.impairments.rate import Rate
from benchsim.link.impairments.reorder import Reorder
from benchsim.link.impairments.replay import Replay

# Whole numbers that are sizes, not names or addresses.
_SIZES = ("averaging_us", "waiting_us", "stuck_bits", "step_d", "skew_us")


def between(before: Any, after: Any, share: float) -> Any:
    """The part at this share of the way, 0 to 1, from one to the other.  BadInput: something cannot grow."""
    return _between(before, after, share, "")


def _between(before: Any, after: Any, share: float, name: str) -> Any:
    if before == after:
        return before
    if type(before) is type(after) is float:
        return before + (after - before) * share
    if type(before) is type(after) is int and name in _SIZES:
        return round(before + (after - before) * share)
    if isinstance(before, tuple) and isinstance(after, tuple):
        return _tuples(before, after, share, name)
    if dataclasses.is_dataclass(before) and type(before) is type(after):
        fields = [f.name for f in dataclasses.fields(before)]
        changed = {f: (getattr(before, f), getattr(after, f)) for f in fields}
        grown = {f: _between(b, a, share, f) for f, (b, a) in changed.items() if b != a}
        return dataclasses.replace(before, **grown)  # type: ignore[type-var]
    raise _there_or_not(name)


def _there_or_not(name: str) -> BadInput:
    what = name.replace("_", " ") or "it"
    return BadInput(f"{what} cannot grow, it is changed or not", "begin it at once, without growing")


def _tuples(before: tuple[Any, ...], after: tuple[Any, ...], share: float, name: str) -> tuple[Any, ...]:
    """Items side by side; what is new behind them is added in part."""
    if len(after) < len(before) or (len(after) > len(before) and name not in _ADDED):
        raise _there_or_not(name)
    beside = tuple(_between(b, a, share, name) for b, a in zip(before, after, strict=False))
    new = [_ADDED[name](item, max(share, _LEAST)) for item in after[len(before) :]]
    return beside + tuple(new) if share > 0.0 else before


_LEAST = 1e-9  # so that what grows from nothing can be worked out at nothing, too


def _impairment(whole: Any, share: float) -> Any:
    """An impairment that meets fewer frames, or keeps them less long."""
    match whole:
        case Loss(probability):
            return Loss(probability * share)
        case Outage():
            return Loss(share)
        case Burst(p, r, h, k):
            return Burst(p * share, r, h, k)
        case Delay(delay_us, jitter_us, overtaking):
            return Delay(round(delay_us * share), round(jitter_us * share), overtaking)
        case BitErrors(rate):
            return BitErrors(rate * share)
        case Duplicate(probability, later_us):
            return Duplicate(probability * share, later_us)
        case Reorder() | Replay():
            return dataclasses.replace(whole, probability=whole.probability * share)
        case Rate():
            return dataclasses.replace(whole, bits_per_s=round(whole.bits_per_s / share))
    raise BadInput(f"{type(whole).__name__} on a link cannot grow", "begin it at once, without growing")


_ADDED: dict[str, Callable[[Any, float], Any]] = {
    "leaks": lambda leak, share: (leak[0], leak[1] / share),
    "shorts": lambda short, share: (*short[:2], (short[2] + _CONTACT_OHM * (1.0 - share)) / share),
    "contacts": lambda contact, share: (contact[0], contact[1] * share),
    "arm_shifts": lambda shift, share: (shift[0], shift[1] * share),
    "creep": lambda term, share: (term[0] * share, term[1]),
    "up": _impairment,
    "down": _impairment,
}
_CONTACT_OHM = 100.0  # a short that begins is a poor contact; common practice, no source
