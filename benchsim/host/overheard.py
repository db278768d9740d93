"""A host that somebody listens to: what it is told goes to the listener first, what it shows as well.

Nothing is changed by that; a host that nobody listens to is not wrapped, so nobody else pays.
"""

from __future__ import annotations

from collections.abc import Callable

from benchsim.ground.commands import InstrumentCommand
from benchsim.ground.readings import ClockReading, Indication, LinkState, Outcome, Samples
from benchsim.host.host import Host, Tick

Said = Samples | ClockReading | LinkState | Indication
Keep = Callable[[Said], object]


class Overheard:
    """A host, or one that is overheard already, and one more who hears what it hears."""

    def __init__(self, host: Host | Overheard, keep: Keep) -> None:
        self._host, self._keep = host, keep

    @property
    def indication(self) -> Indication:
        """As the host's."""
        return self._host.indication

    def take(self, samples: Samples) -> None:
        """Verified samples, in order of arrival."""
        self._keep(samples)
        self._host.take(samples)

    def clock(self, reading: ClockReading) -> None:
        """One look at a node's clock."""
        self._keep(reading)
        self._host.clock(reading)

    def link(self, state: LinkState) -> None:
        """What became of one address."""
        self._keep(state)
        self._host.link(state)

    def command(self, command: InstrumentCommand, now_us: int) -> Outcome:
        """As the host does it."""
        return self._host.command(command, now_us)

    def advance(self, now_us: int) -> list[Tick]:
        """As the host gives them."""
        ticks = self._host.advance(now_us)
        for tick in ticks:
            self._keep(tick.indication)
        return ticks
