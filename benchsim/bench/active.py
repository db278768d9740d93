"""Which faults act now, and what they make of each part.

A fault takes a part and gives a changed part; the stages never hear of faults, and two faults are two
folds in the order in which they began.  Nothing here depends on how often a fold is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeVar

from benchsim.bench.plan import Plan
from benchsim.faults.fault import Entry, LinkPart, NodePart, catalogue
from benchsim.ground.clock import SECOND_US
from benchsim.ground.commands import StartFault
from benchsim.ground.errors import BadInput, unknown
from benchsim.link.parts import check_node
from benchsim.scale.parts import Digitiser, ScaleParts
from benchsim.scale.validate import check

Part = TypeVar("Part")

WHOLE_SCALE = ("deck", "site")
LONG_RUN_US = 10 * 365 * 24 * 3_600 * SECOND_US


@dataclass(frozen=True, slots=True)
class _Acting:
    entry: Entry
    fault: Any
    target: int
    began_us: int


class ActiveFaults:
    """The faults that act, by key.  A value: beginning or ending one gives another."""

    def __init__(self, plan: Plan, acting: dict[str, _Acting] | None = None) -> None:
        self._plan = plan
        self._acting = acting or {}

    def with_fault(self, command: StartFault, now_us: int) -> ActiveFaults:
        """These and one more.  Raises BadInput: unknown fault, target or figure, key in use."""
        if command.key in self._acting:
            raise BadInput(f"a fault {command.key!r} is acting already", "give this one another name")
        known = catalogue()
        if command.fault not in known:
            raise unknown("fault", command.fault, known)
        entry = known[command.fault]
        self._check_target(entry, command.target)
        one_more = _Acting(entry, entry.make(command.parameters), command.target, now_us)
        return ActiveFaults(self._plan, self._acting | {command.key: one_more})

    def without(self, key: str) -> ActiveFaults:
        """These but one.  Raises BadInput when none acts under this key."""
        if key not in self._acting:
            raise unknown("acting fault", key, self._acting)
        return ActiveFaults(self._plan, {k: a for k, a in self._acting.items() if k != key})

    def try_out(self, now_us: int) -> None:
        """Make sure that the parts can be, now and when every slow fault has run its course.

        Raises BadInput for parts that cannot.
        """
        for at_us in (now_us, now_us + LONG_RUN_US):
            check(self.scale(at_us))
            for index in range(len(self._plan.nodes)):
                check_node(self.node(index, at_us).card)
                self.link(index, at_us)

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(self._acting)

    @property
    def youngest_varying(self) -> str:
        """Key of the fault that began last of those that change with their age.  KeyError: there is none."""
        keys = [key for key, acting in self._acting.items() if acting.fault.varies]
        if not keys:
            raise KeyError("no fault that acts changes with its age")
        return keys[-1]

    @property
    def vary(self) -> bool:
        """Whether any of them changes with its age."""
        return any(a.fault.varies for a in self._acting.values())

    @property
    def vary_beyond_scale(self) -> bool:
        """Whether any of those may change a node's card or its way to the host with its age."""
        return any(a.fault.varies and a.entry.stage in ("node", "link") for a in self._acting.values())

    def scale(self, now_us: int) -> ScaleParts:
        """The scale as the acting faults make it."""
        parts = self._plan.scale
        return replace(
            parts,
            receptor=self._fold("deck", 0, parts.receptor, now_us),
            site=self._fold("site", 0, parts.site, now_us),
            cells=tuple(self._fold("cell", n, c, now_us) for n, c in enumerate(parts.cells, 1)),
            wiring=tuple(self._fold("wiring", n, w, now_us) for n, w in enumerate(parts.wiring, 1)),
            stations=tuple(
                replace(s, digitiser=self.node(i, now_us).digitiser) for i, s in enumerate(parts.stations)
            ),
        )

    def node(self, index: int, now_us: int) -> NodePart:
        """The node at this index (from 0) as the acting faults make it."""
        stations = self._plan.scale.stations
        digitiser = stations[index].digitiser if index < len(stations) else Digitiser()
        whole = NodePart(self._plan.nodes[index].card, digitiser, True)
        return self._fold("node", index + 1, whole, now_us)

    def link(self, index: int, now_us: int) -> LinkPart:
        """The way of the node at this index as the acting faults make it."""
        whole = LinkPart(self._plan.nodes[index].up, self._plan.nodes[index].down)
        return self._fold("link", index + 1, whole, now_us)

    def _fold(self, stage: str, number: int, part: Part, now_us: int) -> Part:
        for acting in self._acting.values():
            if acting.entry.stage == stage and acting.target in (0, number):
                part = acting.fault.fold(part, now_us - acting.began_us)
        return part

    def _check_target(self, entry: Entry, target: int) -> None:
        if entry.stage in WHOLE_SCALE:
            if target:
                raise BadInput(f"{entry.name} on {target}", f"a fault of the {entry.stage} takes no number")
            return
        what, most = ("cell", len(self._plan.scale.cells))
        if entry.stage in ("node", "link"):
            what, most = "node", len(self._plan.nodes)
        if not 0 <= target <= most:
            raise BadInput(f"{entry.name} on {what} {target}", f"there are {what}s 1 to {most}")
