"""A station's own sample grid: which sample is complete when, by the bench's clock and by the node's.

Whole picoseconds and microseconds only, so no instant ever drifts by rounding.  A clock that changes its
error starts a new grid that keeps the phase of the sample under way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

PS_PER_US = 1_000_000


def period_ps(rate_hz: float, clock_error_ppm: float) -> int:
    """The true time from sample to sample, in whole ps; a clock that runs fast makes it shorter."""
    return round(1e12 / rate_hz / (1.0 + clock_error_ppm * 1e-6))


@dataclass(frozen=True, slots=True)
class Grid:
    """Sample n is complete at base_us + floor((offset_ps + (n + 1 - before) * period_ps) / 1e6).

    before: samples that were complete when this grid began.  For the first grid of a station base_us is
    the start, before and offset_ps are 0.
    """

    rate_hz: float
    period_ps: int
    base_us: int
    before: int = 0
    offset_ps: int = 0

    @classmethod
    def begin(cls, rate_hz: float, clock_error_ppm: float, start_us: int) -> Grid:
        return cls(rate_hz, period_ps(rate_hz, clock_error_ppm), start_us)

    def with_clock(self, clock_error_ppm: float, t_us: int) -> Grid:
        """The grid from t_us on, when the clock has another error; the sample under way keeps its phase."""
        period = period_ps(self.rate_hz, clock_error_ppm)
        if period == self.period_ps:
            return self
        done = self.completed(t_us)
        under_way_ps = (t_us - self.base_us) * PS_PER_US - self.offset_ps
        under_way_ps -= (done - self.before) * self.period_ps
        offset_ps = -(under_way_ps * period // self.period_ps)
        # The next sample stays behind t_us, as it does on the old grid.
        return Grid(self.rate_hz, period, t_us, done, max(offset_ps, PS_PER_US - period))

    def completed(self, t_us: int) -> int:
        """How many samples are complete at bench time t_us (that very instant counts)."""
        room_ps = (t_us - self.base_us + 1) * PS_PER_US - 1 - self.offset_ps
        return max(self.before, self.before + room_ps // self.period_ps)

    def time_us(self, n: int) -> int:
        """When sample n is complete, bench time."""
        return self.base_us + (self.offset_ps + (n + 1 - self.before) * self.period_ps) // PS_PER_US

    def times_us(self, first: int, count: int) -> NDArray[np.int64]:
        """The same for count samples from first on.  int64, (count,).

        The period is split into whole and broken microseconds, so nothing overflows in a million years.
        """
        steps = np.arange(first + 1 - self.before, first + 1 - self.before + count, dtype=np.int64)
        whole, broken = divmod(self.period_ps, PS_PER_US)
        if not broken:
            return self.base_us + self.offset_ps // PS_PER_US + steps * whole
        return self.base_us + steps * whole + (self.offset_ps + steps * broken) // PS_PER_US

    def node_times_us(self, first: int, count: int) -> NDArray[np.int64]:
        """What the node's clock shows at those samples: round((n + 1) * 1e6 / rate_hz)."""
        numbers = np.arange(first + 1, first + 1 + count, dtype=np.float64)
        return np.rint(numbers * 1e6 / self.rate_hz).astype(np.int64)

    def node_time_us(self, t_us: int) -> int:
        """What the node's clock shows at bench time t_us."""
        gone_ps = (t_us - self.base_us) * PS_PER_US - self.offset_ps + self.before * self.period_ps
        numerator, denominator = self.rate_hz.as_integer_ratio()
        return _rounded(gone_ps * PS_PER_US * denominator, self.period_ps * numerator)


def _rounded(dividend: int, divisor: int) -> int:
    """The whole number nearest to a quotient, to even from the middle: as round(Fraction(...)) does."""
    nearest, rest = divmod(2 * dividend + divisor, 2 * divisor)
    return nearest - 1 if not rest and nearest % 2 else nearest
