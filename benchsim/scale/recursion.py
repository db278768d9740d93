"""Linear recursions in chunks, the same bit for bit however the samples are cut into blocks.

Inside a chunk a recursion is a scan by doubling: the value at a place depends on that place and on what
stands before it, never on how much follows, so a chunk cut short is a prefix of the whole.  From chunk to
chunk only the state passes.  Element-wise multiply and add alone: no exp, no matrix product; all
coefficients come from `math` and are rounded to 12 significant digits.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CHUNK = 64
_DOUBLINGS = tuple(1 << k for k in range(CHUNK.bit_length() - 1))


def rounded(value: float) -> float:
    """12 significant digits: what differs between two mathematics libraries falls away."""
    return float(f"{value:.12g}")


@dataclass(frozen=True, slots=True)
class Lag:
    """First-order lag of a difference: s[n] = decay * s[n-1] - drive * (x[n] - x[n-1]).

    s is how far the late part lies from where it will end.  powers: decay after 1, 2, 4, ... samples;
    table: decay after 1 ... CHUNK samples.
    """

    drive: float
    powers: tuple[float, ...]
    table: Floats


@functools.lru_cache(maxsize=256)
def lag(time_constant_s: float, rate_hz: float) -> Lag:
    """The lag with this time constant, its input taken as straight between samples (first-order hold)."""
    steps = 1.0 / (rate_hz * time_constant_s)
    return Lag(
        drive=rounded(-math.expm1(-steps) / steps),
        powers=tuple(rounded(math.exp(-steps * s)) for s in _DOUBLINGS),
        table=np.array([rounded(math.exp(-steps * s)) for s in range(1, CHUNK + 1)]),
    )


def lag_scan(values: Floats, powers: tuple[Floats, ...]) -> None:
    """In place, along the last axis, from rest: s[n] = q s[n-1] + v[n].  powers: q, q^2, q^4, ..."""
    length = values.shape[-1]
    for step, power in zip(_DOUBLINGS, powers, strict=True):
        if step >= length:
            return
        values[..., step:] += power * values[..., :-step]


Turn = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Pendulum:
    """Second-order response as a recursion of (e, z) on the input's differences.

    e: response minus input.  z: response's velocity over angular frequency.  turn: (ee, ez, ze, zz) after
    so many samples.  drive: what a difference of 1 that is straight between samples adds to (e, z).
    powers: turn after 1, 2, 4, ... samples.  table: float64, (4, CHUNK + 1), after 0 ... CHUNK samples.
    per_us: angle in radians.
    """

    drive: tuple[float, float]
    powers: tuple[Turn, ...]
    table: Floats
    damping_ratio: float
    per_us: float

    def turn(self, samples: int) -> Turn:
        """The turn after so many samples, 0 to CHUNK."""
        ee, ez, ze, zz = self.table[:, samples].tolist()
        return ee, ez, ze, zz

    def since_step(self, age_us: int) -> tuple[float, float]:
        """(e, z) so long after a step of 1, exactly: the step leaves (-1, 0), and that swings freely."""
        ee, _, ze, _ = _turn(self.damping_ratio, self.per_us * age_us)
        return rounded(-ee), rounded(-ze)


def _turn(damping_ratio: float, angle: float) -> Turn:
    """exp(A t) for e' = w z, z' = -w e - 2 D w z at w t = angle; D below, at or above 1."""
    spread = damping_ratio * damping_ratio - 1.0
    if abs(spread) < 1e-9:
        even, odd = math.exp(-angle), angle * math.exp(-angle)
    elif spread < 0.0:
        root = math.sqrt(-spread)
        fall = math.exp(-damping_ratio * angle)
        even, odd = fall * math.cos(root * angle), fall * math.sin(root * angle) / root
    else:
        root = math.sqrt(spread)
        slow, fast = math.exp((root - damping_ratio) * angle), math.exp(-(root + damping_ratio) * angle)
        even, odd = 0.5 * (slow + fast), 0.5 * (slow - fast) / root
    return (even + damping_ratio * odd, odd, -odd, even - damping_ratio * odd)


@functools.lru_cache(maxsize=64)
def pendulum(natural_frequency_hz: float, damping_ratio: float, rate_hz: float) -> Pendulum:
    """Response w^2 / (s^2 + 2 D w s + w^2), its input taken as straight between samples.

    Source: textbook state transition of the damped oscillator; first-order hold.
    """
    angle = 2.0 * math.pi * natural_frequency_hz / rate_hz
    ee, _, ze, _ = _turn(damping_ratio, angle)
    drive = ((2.0 * damping_ratio * (ee - 1.0) + ze) / angle, (1.0 - ee) / angle)
    turns = [tuple(map(rounded, _turn(damping_ratio, angle * s))) for s in range(CHUNK + 1)]
    powers = tuple((t[0], t[1], t[2], t[3]) for t in (turns[s] for s in _DOUBLINGS))
    return Pendulum(
        (rounded(drive[0]), rounded(drive[1])), powers, np.array(turns).T.copy(), damping_ratio,
        2e-6 * math.pi * natural_frequency_hz,
    )  # fmt: skip


def turned(turn: Turn, e: Floats, z: Floats) -> tuple[Floats, Floats]:
    """The state (e, z) after a turn."""
    ee, ez, ze, zz = turn
    return ee * e + ez * z, ze * e + zz * z


def swing(response: Pendulum, driven: tuple[Floats, Floats], e: Floats, z: Floats) -> tuple[Floats, Floats]:
    """Run whole chunks of what drives the response through it.

    driven: what each sample's input adds to (e, z), each (rows, chunks, CHUNK); overwritten.
    e, z: (rows,), the state before.  Gives (e, z), each (rows, chunks, CHUNK).
    """
    inner_e, inner_z = driven
    for step, turn in zip(_DOUBLINGS, response.powers, strict=True):
        add_e, add_z = turned(turn, inner_e[..., :-step], inner_z[..., :-step])
        inner_e[..., step:] += add_e
        inner_z[..., step:] += add_z
    rows, chunks, _ = inner_e.shape
    whole = response.turn(CHUNK)
    starts_e, starts_z = np.empty((2, rows, chunks, 1))
    for chunk in range(chunks):
        starts_e[:, chunk, 0], starts_z[:, chunk, 0] = e, z
        free_e, free_z = turned(whole, e, z)
        e, z = inner_e[:, chunk, -1] + free_e, inner_z[:, chunk, -1] + free_z
    ee, ez, ze, zz = response.table[:, 1:]
    return inner_e + (ee * starts_e + ez * starts_z), inner_z + (ze * starts_e + zz * starts_z)


def clamp_scan(lower: Floats, upper: Floats) -> Floats:
    """y[n] = min(max(y[n-1], lower[n]), upper[n]) along the last axis, where lower[0] = upper[0] = y[0].

    Both are overwritten.  Clamps compose to clamps and only select numbers, so the result is exact however
    it is grouped: no chunks are needed.
    """
    step, length = 1, lower.shape[-1]
    while step < length:
        low, high = lower[..., step:], upper[..., step:]
        new_low = np.minimum(np.maximum(lower[..., :-step], low), high)
        new_high = np.minimum(np.maximum(upper[..., :-step], low), high)
        lower[..., step:], upper[..., step:] = new_low, new_high
        step *= 2
    return lower
