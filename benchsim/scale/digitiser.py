"""The converter of one node: an ideal reading in counts to the code it gives, with a status.

Noise enters as density before the filter or as RMS counts after it; mains comes in before the filter,
its phase an integer that wraps; then the stops of the range, then bits that do not move
and channels that are stuck or missing.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.randomness import Noise
from benchsim.ground.readings import ChannelStatus
from benchsim.scale.filters import filtered, reach
from benchsim.scale.grid import period_ps
from benchsim.scale.parts import Digitiser
from benchsim.scale.recursion import rounded

Floats = NDArray[np.float64]

_SINE_BITS = 14
_TURN = 1 << 64
# Normal numbers drawn at once when fewer are asked for.  Only speed hangs on it.
_STOCK = 512


@functools.cache
def _sine_table() -> Floats:
    size = 1 << _SINE_BITS
    return np.array([round(math.sin(2.0 * math.pi * (i + 0.5) / size), 12) for i in range(size)])


@dataclass(frozen=True, slots=True)
class Figures:
    """A digitiser's data-sheet figures in counts.

    noise_before, noise_after: standard deviation before and after the filter.  pickup: amplitude.
    phase_step: turns of mains from sample to sample, in 1/2**64.  low, high: the stops.
    scale: counts per mV/V with the reference as it is.  offset: added before the filter.  clip: where the
    amplifier saturates.  skew: from one channel's conversion to the next, in samples.
    """

    scale: float
    noise_before: float
    noise_after: float
    pickup: float
    phase_step: int
    filter: str
    box: int
    low: int
    high: int
    stuck_bits: int
    offset: float
    clip: float
    skew: float
    frozen: tuple[int, ...]
    missing: tuple[int, ...]


@functools.lru_cache(maxsize=64)
def figures(digitiser: Digitiser) -> Figures:
    """What the samples need of a digitiser.

    Noise density counts over half the rate: rms = density * sqrt(rate / 2), at the filter's input.
    A reference that is too large by a fraction makes every reading too small: divided by 1 + fraction.
    """
    scale = digitiser.counts_per_mv_per_v / (1.0 + digitiser.reference_error)
    noise_v = digitiser.noise_density_v_per_rthz * math.sqrt(0.5 * digitiser.rate_hz)
    period = period_ps(digitiser.rate_hz, digitiser.clock_error_ppm)
    turns = Fraction(digitiser.pickup_hz) * period / 10**12
    half = 1 << (digitiser.bits - 1)
    return Figures(
        scale=rounded(scale),
        noise_before=rounded(noise_v * 1000.0 / digitiser.excitation_v * digitiser.counts_per_mv_per_v),
        noise_after=digitiser.noise_rms_counts,
        pickup=rounded(digitiser.pickup_mv_per_v * scale),
        phase_step=round(turns * _TURN) % _TURN,
        filter=digitiser.filter,
        box=digitiser.filter_samples,
        low=-half,
        high=half - 1,
        stuck_bits=digitiser.stuck_bits,
        offset=rounded(digitiser.offset_mv_per_v * scale),
        clip=rounded(digitiser.input_range_mv_per_v * scale) or math.inf,
        skew=rounded(digitiser.skew_us * digitiser.rate_hz / 1e6),
        frozen=digitiser.frozen,
        missing=digitiser.missing,
    )


class Converter:
    """Codes of one station, in order of its samples.

    At its first sample the filter is full, as if the load of that sample had stood before.
    Not modelled: the converter's own nonlinearity and gaps between its codes (fold both into the cell),
    1/f noise, crosstalk, a mains that differs from cell to cell in phase.  A channel that is converted before
    its sample's time reads what lies on the straight line between two samples.
    """

    def __init__(self, noises: tuple[Noise, ...]) -> None:
        self._noises = noises
        self._stock: Floats = np.empty((len(noises), 0))
        self._tail: Floats | None = None
        self._ideal: Floats | None = None  # of the last sample
        self._codes: NDArray[np.int32] | None = None  # of the last sample
        self._step, self._phase, self._phase_at = 0, 0, -1

    def convert(
        self, ideal: Floats, first: int, figures: Figures, status: NDArray[np.uint8]
    ) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
        """Codes and status, (n, channels), of ideal readings in counts, (channels, n), from sample `first`.

        status: (channels,), what the wiring already says.
        """
        values = self._analogue(self._in_turn(ideal, figures.skew), first, figures)
        if figures.noise_after > 0.0:
            values = values + figures.noise_after * self._normal(values.shape[1])
        codes = np.rint(values)
        states = np.empty((codes.shape[1], codes.shape[0]), np.uint8)
        states[:] = status
        if codes.max() >= figures.high or codes.min() <= figures.low:
            states[(codes >= figures.high).T] |= np.uint8(ChannelStatus.HIGH)
            states[(codes <= figures.low).T] |= np.uint8(ChannelStatus.LOW)
            codes = np.minimum(np.maximum(codes, figures.low), figures.high)
        whole = codes.T.astype(np.int32, order="C")
        if figures.stuck_bits:
            whole &= np.int32(-1 << figures.stuck_bits)
        self._damage(whole, states, figures)
        self._codes = whole[-1].copy()
        return whole, states

    def _in_turn(self, ideal: Floats, skew: float) -> Floats:
        """What each channel finds when its turn comes: the last at the sample's time, the others before."""
        before, self._ideal = self._ideal, ideal[:, -1:].copy()
        channels = ideal.shape[0]
        if skew == 0.0 or channels == 1:
            return ideal
        earlier = np.concatenate([ideal[:, :1] if before is None else before, ideal[:, :-1]], axis=1)
        late = np.array([[min(1.0, skew * (channels - 1 - c))] for c in range(channels)])
        turned: Floats = ideal + (earlier - ideal) * late
        return turned

    def _damage(self, whole: NDArray[np.int32], states: NDArray[np.uint8], figures: Figures) -> None:
        """Channels whose code stands still, which says nothing of it, and channels that are not there."""
        for channel in figures.frozen:
            if channel < whole.shape[1]:
                whole[:, channel] = whole[0, channel] if self._codes is None else self._codes[channel]
        for channel in figures.missing:
            if channel < whole.shape[1]:
                whole[:, channel] = 0
                states[:, channel] = np.uint8(ChannelStatus.OPEN)

    def _analogue(self, ideal: Floats, first: int, figures: Figures) -> Floats:
        """Up to and with the filter."""
        if figures.filter == "none" or figures.box == 1:
            return self._disturbed(ideal, first, figures)
        if self._tail is None:
            before = reach(figures.filter, figures.box)
            self._tail = self._disturbed(np.repeat(ideal[:, :1], before, axis=1), first - before, figures)
        values = np.concatenate([self._tail, self._disturbed(ideal, first, figures)], axis=1)
        self._tail = values[:, ideal.shape[1] :].copy()
        return filtered(values, figures.filter, figures.box)

    def _disturbed(self, ideal: Floats, first: int, figures: Figures) -> Floats:
        values = ideal
        if figures.noise_before > 0.0:
            values = values + figures.noise_before * self._normal(ideal.shape[1])
        if figures.pickup != 0.0:
            values = values + figures.pickup * self._mains(first, ideal.shape[1], figures.phase_step)
        if figures.offset != 0.0:
            values = values + figures.offset
        if figures.clip != math.inf:
            values = np.minimum(np.maximum(values, -figures.clip), figures.clip)
        return values

    def _mains(self, first: int, count: int, step: int) -> Floats:
        """The sine of mains at those samples; turned by nothing at the start.

        Another step goes on from the phase of the sample before.
        """
        if not self._step:
            self._step = step
        if step != self._step:
            self._phase = (self._phase + (first - 1 - self._phase_at) * self._step) % _TURN
            self._step, self._phase_at = step, first - 1
        start = (self._phase + (first - self._phase_at) * step) % _TURN
        phases = np.uint64(start) + np.arange(count, dtype=np.uint64) * np.uint64(step)
        return _sine_table()[(phases >> np.uint64(64 - _SINE_BITS)).astype(np.intp)]

    def _normal(self, count: int) -> Floats:
        """Standard normal numbers, (channels, count), each channel from its own stream, in order."""
        have = self._stock.shape[1]
        if have < count:
            fresh = np.empty((len(self._noises), max(count - have, _STOCK)))
            for row, noise in zip(fresh, self._noises, strict=True):
                row[:] = noise.normal(fresh.shape[1])
            self._stock = np.concatenate([self._stock, fresh], axis=1) if have else fresh
        drawn, self._stock = self._stock[:, :count], self._stock[:, count:]
        return drawn
