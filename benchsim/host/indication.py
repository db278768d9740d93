"""Weight to indication, and every interlock between a command and what it would change.

Rounding is I = floor(P/d + 1/2) on whole parts, exact (R 76-1 A.4.4.3).  Where no figure may be shown all
weights of the indication are those of an empty scale, so none can leak.
"""

from __future__ import annotations

from dataclasses import replace

from benchsim.ground.clock import SECOND_US
from benchsim.ground.commands import ClearTare, InstrumentCommand, PresetTare, Record, Tare, Zero
from benchsim.ground.readings import Indication, Outcome, Recorded
from benchsim.ground.rounding import shown
from benchsim.host.limits import Limits, counted_d
from benchsim.host.parts import HostParts
from benchsim.host.reconstruction import PARTS_PER_D
from benchsim.host.tare import Tare as TareMemory
from benchsim.host.zero import Zero as ZeroMemory
from benchsim.rules.profile import Profile

NOT_PAIRED = "not paired"
_DOUBLE = 2 * PARTS_PER_D
IN_MOTION = "in motion"
TOO_OLD = "the newest samples are too old"
NO_ZERO_YET = "initial zero not set yet"


def rounded(parts: int, step_d: int = 1) -> int:
    """Parts to counts of d, in steps of so many: floor(P/d + 1/2).  Source: R 76-1 A.4.4.3."""
    return (2 * parts + step_d * PARTS_PER_D) // (step_d * _DOUBLE) * step_d


def rounded_tenths(parts: int) -> int:
    """Parts to counts of d/10, by the same rule."""
    return (20 * parts + PARTS_PER_D) // _DOUBLE


class Instrument:
    """The legal part of the host: one weight in, one indication out; commands in between."""

    def __init__(self, parts: HostParts, profile: Profile) -> None:
        counted = counted_d(parts, profile)
        self.profile = profile
        self.unit, self.interval = parts.unit, parts.interval
        self.zero = ZeroMemory(parts, profile)
        self.tare = TareMemory(parts, profile)
        self.limits = Limits(profile, int(parts.capacity_kg / parts.interval), counted)
        self._centre = int(profile.centre_of_zero_d * counted * PARTS_PER_D)
        self._step_d = parts.step_d
        self._weight: int | None = None
        self._unsteady = IN_MOTION  # why no stable equilibrium, "" while there is
        self._stands_until_us = 0
        self._reason = NOT_PAIRED
        self._refused_zero = ""
        self._refused_tare = ""
        self._recorded = 0
        self._t_us = 0
        self.indication = self._show()

    def weigh(self, t_us: int, weight: int, unsteady: str, low: int, high: int, until_us: int) -> Indication:
        """One update with a weight, in parts above the calibrated zero.

        unsteady: why it does not stand by the rules, "" when it does.  low, high: between what it lay
        while it was watched for that.  until_us: then it will be too old to be acted on.
        """
        self._t_us, self._weight, self._unsteady, self._reason = t_us, weight, unsteady, ""
        self._stands_until_us = until_us
        if unsteady:
            self.zero.unrest()
        else:
            self.zero.follow(weight, low, high)
        if self.zero.pending and not self.zero.initial_error:
            self._reason = NO_ZERO_YET
        if self._refused_zero or self._refused_tare:
            self._forgive()
        self.indication = self._show()
        return self.indication

    def change(self, parts: HostParts) -> None:
        """Other settings; zero and tare stay."""
        self._step_d = parts.step_d
        self.zero.change(parts, self.profile)
        counted = counted_d(parts, self.profile)
        self.limits = Limits(self.profile, int(parts.capacity_kg / parts.interval), counted)

    def again(self, t_us: int) -> Indication:
        """The same as before, told as if it were of now."""
        self._t_us, self._stands_until_us = t_us, t_us + SECOND_US
        self.indication = replace(self.indication, t_us=t_us)
        return self.indication

    def no_weight(self, t_us: int, reason: str) -> Indication:
        """One update for which no weight may be given."""
        self._t_us, self._weight, self._unsteady, self._reason = t_us, None, IN_MOTION, reason
        self.zero.unrest()
        self.indication = self._show()
        return self.indication

    def command(self, command: InstrumentCommand, now_us: int) -> Outcome:
        """Do it or refuse it, by the weight of the last update."""
        if now_us > self._stands_until_us:
            self._unsteady = self._unsteady or TOO_OLD
        match command:
            case Zero():
                refused, self._refused_zero = self._zero()
            case Tare():
                refused, self._refused_tare = self._tare()
            case PresetTare(value):
                refused = self._no_zero() or self.tare.refuses_preset(value)
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
        valid = not self._reason
        gross = weight - zero.parts if valid and weight is not None else 0
        gross_d = rounded(gross, self._step_d)
        over, under = gross_d > self.limits.over_d, gross_d < self.limits.under_d
        figure = valid and not (over or under or zero.initial_error)
        if not figure:
            gross, gross_d = 0, 0
        tenths = rounded_tenths(gross)
        return Indication(
            self._t_us,
            valid,
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
            self._unsteady != "",
            figure and -self._centre <= gross <= self._centre,
            over,
            under,
            self._refused_zero != "",
            zero.initial_error,
            self._refused_tare != "",
        )

    def _no_zero(self) -> str:
        """Why there is no zero to weigh from; "" when there is one."""
        if self._reason:
            return f"no weight: {self._reason}"
        return "the initial zero is not set: outside its range" if self.zero.pending else ""

    def _no_figure(self) -> str:
        """Why there is no figure to act on; "" when there is one."""
        if refused := self._no_zero():
            return refused
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
                return self._unsteady, blocked
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
        if self._weight is None or self._no_zero() or self.indication.overload:
            return "figure"
        if self.profile.zero_when_stable and self._unsteady:
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
                return self._unsteady, blocked
            case "zero":
                return "at or below zero", blocked
            case "large":
                return self.tare.refuses(self.indication.gross_d), blocked
        self.tare.weighed(self.indication.gross_d)
        return "", ""

    def _tare_condition(self) -> str:
        """What is against taking a tare now.  Source: HB 44 S.2.3, R 76-1 4.4.2, by way of the profile."""
        if self._no_figure():
            return "figure"
        if self.profile.tare_when_stable and self._unsteady:
            return "motion"
        if self.profile.tare_above_zero_only and self.indication.gross_d <= 0:
            return "zero"
        return "large" if self.tare.refuses(self.indication.gross_d) else ""

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
        if self.profile.record_when_stable and self._unsteady:
            return Outcome(False, self._unsteady)
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
