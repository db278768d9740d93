"""A terminal that makes contact and loses it again."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RATIO, RESISTANCE
from benchsim.scale.bridge import TERMINALS
from benchsim.scale.parts import Wiring

_SECOND_US = 1_000_000


@fault(
    seen="the weight jumps or goes blank for seconds and comes back by itself, worse with traffic and wind",
    cause="a screw terminal that works loose, a strand that has broken inside its insulation",
    confirm="watch that cell's counts while somebody taps the junction box and moves each cable by hand",
    caution="switch the excitation off before you tighten; a loose supply terminal can be hot",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class LooseTerminal:
    """In each second the contact is there, with some resistance, or gone.

    Which seconds it is gone follows from the second's number and `pattern` alone, by multiply and shift
    (Steele, Lea and Flood, 2014), so the same file gives the same run.  Source: common practice, no source.
    """

    terminal: str = parameter("SIG+", None, "which terminal", words=TERMINALS)
    gone: float = parameter(0.3, RATIO, "share of the seconds without contact", low=0.0, high=1.0)
    resistance_ohm: float = parameter(
        5.0, RESISTANCE, "of the contact while it is there, at most", low=0.0, high=1e6
    )
    pattern: int = parameter(1, None, "another number gives other seconds", low=0, high=1_000_000)

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        second = max(age_us, 0) // _SECOND_US
        if _share(second, 2 * self.pattern) < self.gone:
            return part if self.terminal in part.open else replace(part, open=(*part.open, self.terminal))
        ohm = self.resistance_ohm * _share(second, 2 * self.pattern + 1)
        return replace(part, contacts=(*part.contacts, (self.terminal, ohm)))


def _share(second: int, pattern: int) -> float:
    """A number from 0 up to but not 1 that looks like chance and hangs on its arguments alone."""
    word = (second * 0x9E3779B97F4A7C15 + pattern * 0xD1B54A32D192ED03 + 0x2545F4914F6CDD1D) % 2**64
    word = (word ^ (word >> 30)) * 0xBF58476D1CE4E5B9 % 2**64
    word = (word ^ (word >> 27)) * 0x94D049BB133111EB % 2**64
    return ((word ^ (word >> 31)) >> 11) * 2.0**-53
