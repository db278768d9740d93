"""Weight to indication, and every interlock between a command and what it would change.

Rounding is I = floor(P/d + 1/2) on whole parts, exact (R 76-1 A.4.4.3).  Where no figure may be shown all
weights of the indication are those of an empty scale, so none can leak.
"""

from __future__ import annotations

from benchsim.ground.commands import ClearTare, InstrumentCommand, PresetTare, Record, Tare, Zero
from benchsim.ground.readings import Indication, Outcome, Recorded
from benchsim.ground.rounding import shown
from benchsim.host.limits import Limits
from benchsim.host.parts import HostParts
from benchsim.host.reconstruction import PARTS_PER_D
from benchsim.host.tare import Tare as TareMemory
from benchsim.host.zero import Zero as ZeroMemory
from benchsim.rules.profile import Profile

NOT_PAIRED = "not paired"
_DOUBLE = 2 * PARTS_PER_D
IN_MOTION = "in motion"


def rounded(parts: int) -> int:
    """Parts to counts of d: floor(P/d + 1/2).  Source: R 76-1 A.4.4.3."""
    return (2 * parts + PARTS_PER_D) // _DOUBLE


def rounded_tenths(parts: int) -> int:
    """Parts to counts of d/10, by the same rule."""
    return (20 * parts + PARTS_PER_D) // _DOUBLE


class Instrument:
    """The legal part of the host: one weight in, one indication out; commands in between."""

    def __init__(self, parts: HostParts, profile: Profile) -> None:
        capacity_d = int(parts.capacity_kg / parts.interval)
        self.profile = profile
        self.unit, self.interval = parts.unit, parts.interval
        self.zero = ZeroMemory(parts, profile)
        self.tare = TareMemory(capacity_d, parts.interval, parts.unit)
        self.limits = Limits(profile, capacity_d)
        self._centre = int(profile.centre_of_zero_d * PARTS_PER_D)
        self._weight: int | None = None
        self._stable = False
        self._reason = NOT_PAIRED
        self._refused_zero = ""
        self._refused_tare = ""
        self._recorded = 0
        self._t_us = 0
        self.indication = self._show()

    def weigh(self, t_us: int, weight: int, stable: bool, low: int, high: int) -> Indication:
        """One update with a weight, in parts above the calibrated zero.

        stable: it stands, by the rules.  low, high: between what it lay while it was watched for that.
        """
        self._t_us, self._weight, self._stable, self._reason = t_us, weight, stable, ""
        if stable:
            self.zero.follow(weight, low, high)
        if self._refused_zero or self._refused_tare:
            self._forgive()
        self.indication = self._show()
        return self.indication

    def no_weight(self, t_us: int, reason: str) -> Indication:
        """One update for which no weight may be given."""
        self._t_us, self._weight, self._stable, self._reason = t_us, None, False, reason
        self.indication = self._show()
        return self.indication

    def command(self, command: InstrumentCommand, now_us: int) -> Outcome:
        """Do it or refuse it, by the weight of the last update."""
        match command:
            case Zero():
                refused, self._refused_zero = self._zero()
            case Tare():
                refused, self._refused_tare = self._tare()
            case PresetTare(value):
                refused = self.tare.refuses_preset(value)
                self._refused_tare = refused and "preset"
                if not refused:
                    self.tare.given(value)
            case ClearTare():
                refused = self._refused_tare = ""
                self.tare.clear()
            case Record():
                return self._record(now_us)
        self.indication = self._show()
        return Outcome(not refused, refused)

    def _show(self) -> Indication:
        zero, tare_d = self.zero, self.tare.tare_d
        weight = self._weight
        gross = 0 if weight is None else weight - zero.parts
        gross_d = (2 * gross + PARTS_PER_D) // _DOUBLE
        over, under = gross_d > self.limits.over_d, gross_d < self.limits.under_d
        if over or under or zero.initial_error:
            gross, gross_d = 0, 0
        tenths = (20 * gross + PARTS_PER_D) // _DOUBLE
        figure = weight is not None and not (over or under or zero.initial_error)
        return Indication(
            self._t_us,
            weight is not None,
            self._reason,
            self.unit,
            self.interval,
            gross_d,
            tare_d,
            gross_d - tare_d,
            tenths,
            tenths - 10 * tare_d,
            tare_d != 0,
            self.tare.preset,
            not self._stable,
            figure and not zero.pending and -self._centre <= gross <= self._centre,
            over,
            under,
            self._refused_zero != "",
            zero.initial_error,
            self._refused_tare != "",
        )

    def _no_figure(self) -> str:
        """Why there is no figure to act on; "" when there is one."""
        if self._weight is None:
            return f"no weight: {self._reason}"
        if self.zero.pending:
            return "the initial zero is not set" + (": outside its range" if self.zero.initial_error else "")
        if self.indication.overload:
            return f"above the overload limit, {self._mass(self.limits.over_d)}"
        if self.indication.underload:
            return f"below the underload limit, {self._mass(self.limits.under_d)}"
        return ""

    def _zero(self) -> tuple[str, str]:
        """(why not in words, which condition) for zero-setting; does it when nothing is against it."""
        blocked = self._zero_condition()
        match blocked:
            case "figure":
                return self._no_figure(), blocked
            case "motion":
                return IN_MOTION, blocked
            case "net":
                return "a tare acts; clear it first", blocked
            case "range":
                most = self.zero.range_d * self.interval
                return f"outside the zero-setting range, {most.normalize():f} {self.unit} each way", blocked
        assert self._weight is not None
        self.tare.clear()
        self.zero.set(self._weight)
        return "", ""

    def _zero_condition(self) -> str:
        """What is against zero-setting now.  Source: R 76-1 4.5.1, 4.5.4, by way of the profile."""
        if self._weight is None or self.zero.pending or self.indication.overload:
            return "figure"
        if not self._stable:
            return "motion"
        if self.tare.tare_d and self.profile.zero_while_net == "refused":
            return "net"
        return "" if self.zero.in_range(self._weight) else "range"

    def _tare(self) -> tuple[str, str]:
        blocked = self._tare_condition()
        match blocked:
            case "figure":
                return self._no_figure(), blocked
            case "motion":
                return IN_MOTION, blocked
            case "zero":
                return "at or below zero", blocked
        self.tare.weighed(self.indication.gross_d)
        return "", ""

    def _tare_condition(self) -> str:
        """What is against taking a tare now.  Source: HB 44 S.2.3, R 76-1 4.4.2, by way of the profile."""
        if self._no_figure():
            return "figure"
        if self.profile.tare_when_stable and not self._stable:
            return "motion"
        if self.profile.tare_above_zero_only and self.indication.gross_d <= 0:
            return "zero"
        return ""

    def _forgive(self) -> None:
        """An error is shown until the condition that caused it has gone."""
        if self._refused_zero and self._zero_condition() != self._refused_zero:
            self._refused_zero = ""
        if self._refused_tare and self._tare_condition() != self._refused_tare:
            self._refused_tare = ""

    def _record(self, now_us: int) -> Outcome:
        """The recording interlock.  Source: HB 44 S.2.5.1, R 76-1 4.4.2, by way of the profile."""
        now = self.indication
        if refused := self._no_figure():
            return Outcome(False, refused)
        if self.profile.record_when_stable and not self._stable:
            return Outcome(False, IN_MOTION)
        if not self.profile.record_below_zero and now.net_d < 0:  # net is never above gross
            return Outcome(False, "below zero")
        self._recorded += 1
        recorded = Recorded(
            self._recorded,
            now_us,
            now.gross_d,
            now.tare_d,
            now.net_d,
            now.preset_tare,
            now.interval,
            now.unit,
        )
        return Outcome(True, "", recorded)

    def _mass(self, count_d: int) -> str:
        return f"{shown(count_d, self.interval)} {self.unit}"
