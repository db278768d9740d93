"""Everything that changes the zero stands here: initial zero, zero-setting, zero-tracking.

Initial zero has its own range around the calibrated zero.  Zero-setting and zero-tracking share one range
around the zero that the initial zero-setting left, so what one has used up the other cannot use again.
Zero-tracking acts only on what has come to rest, so that a load that is put on slowly is weighed and not
taken out.  Source: R 76-1 4.5.1, 4.5.4, 4.5.7; HB 44 S.2.1.3.2, S.2.1.5; by way of the profile.
"""

from __future__ import annotations

from collections import deque
from decimal import Decimal

from benchsim.ground.clock import SECOND_US
from benchsim.host.parts import HostParts
from benchsim.host.reconstruction import PARTS_PER_D
from benchsim.rules.profile import Profile


def _parts(count_d: Decimal) -> int:
    return int(count_d * PARTS_PER_D)


class Zero:
    """What is taken off the calibrated weight.  All in parts, millionths of d.

    parts: the zero in force.  start: where the initial zero-setting left it.  pending: the initial zero
    is still to come.  initial_error: a stable weight lay outside its range; it is tried again with each
    stable weight, so the error ends when the load that causes it is gone.
    """

    __slots__ = (
        "_at_zero_only",
        "_initial_range",
        "_past",
        "_range",
        "_rest",
        "_rest_updates",
        "_step",
        "_window",
        "initial_error",
        "parts",
        "pending",
        "start",
    )

    def __init__(self, parts: HostParts, profile: Profile) -> None:
        capacity_d = parts.capacity_kg / parts.interval
        self._range = _parts(capacity_d * profile.zero_setting_range)
        self._initial_range = _parts(capacity_d * profile.initial_zero_range)
        self.change(parts, profile)
        self._at_zero_only = profile.zero_tracking_at_zero_only
        self._step = _parts(profile.zero_tracking_rate_d_per_s / parts.update_hz)
        self._rest = _parts(profile.zero_tracking_rest_d)
        self._rest_updates = 1 - (-profile.zero_tracking_after_us * parts.update_hz // SECOND_US)
        self._past: deque[int] = deque(maxlen=self._rest_updates)  # weights of the last updates, all stable
        self.parts = self.start = 0
        self.pending = parts.initial_zero
        self.initial_error = False

    def change(self, parts: HostParts, profile: Profile) -> None:
        """Other settings; the zero in force stays."""
        self._window = _parts(profile.zero_tracking_window_d) if parts.zero_tracking else -1

    def follow(self, weight: int, low: int, high: int) -> None:
        """One update in stable equilibrium: the initial zero if it is still to come, else tracking.

        weight: parts above the calibrated zero; low, high: between what it lay for the last while.  All
        of that must lie within the window, or a load too large to be tracked would be tracked while the
        mean is still on its way to it.
        """
        if self.pending:
            self.initial_error = abs(weight) > self._initial_range
            if not self.initial_error:
                self.parts = self.start = weight
                self.pending = False
            return
        past = self._past
        past.append(weight)
        gross = weight - self.parts
        if (
            gross
            and -self._window <= low - self.parts
            and high - self.parts <= self._window
            and len(past) == self._rest_updates
            and abs(weight - past[0]) <= self._rest
            and not (self._at_zero_only and 2 * (high - self.parts) >= PARTS_PER_D)  # it would show 1 d
        ):
            moved = self.parts + max(-self._step, min(self._step, gross))
            self.parts = max(self.start - self._range, min(self.start + self._range, moved))

    def unrest(self) -> None:
        """One update without stable equilibrium."""
        self._past.clear()

    def in_range(self, weight: int) -> bool:
        """Whether a zero set here would keep within the range of zero-setting and zero-tracking."""
        return abs(weight - self.start) <= self._range

    def set(self, weight: int) -> None:
        """Zero-setting by command.  The caller has made sure of equilibrium and range."""
        self.parts = weight

    @property
    def range_d(self) -> Decimal:
        """The range of zero-setting and zero-tracking, each way, in d."""
        return Decimal(self._range) / PARTS_PER_D
