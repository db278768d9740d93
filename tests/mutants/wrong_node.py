"""A node that is wrong in one way, as real firmware gets things wrong, and the case made for it.

Everything else of it is the built-in node: what catches it shows what it is that it does wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchsim.ground.randomness import Streams
from benchsim.link.node import NodeEnd
from benchsim.probe.run import Device
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import NodesStandIn

End = type[NodeEnd]


@dataclass(frozen=True, slots=True)
class Wrong:
    """One wrong node.  made_for: the case that is there because of it."""

    name: str
    made_for: str
    end: End

    def device(self, setting: Setting, streams: Streams) -> Device:
        return NodesStandIn(setting, streams, self.end)


def enters(entered: list[Wrong]) -> Callable[[str], Callable[[End], End]]:
    """A marker that enters a node end, and the id of the case made for it."""

    def wrong(made_for: str) -> Callable[[End], End]:
        def enter(end: End) -> End:
            entered.append(Wrong(end.__name__, made_for, end))
            return end

        return enter

    return wrong
