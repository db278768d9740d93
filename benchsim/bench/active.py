"""Which faults act now, and what they make of each part.

A fault takes a part and gives a changed part; the stages never hear of faults, and two faults are two
folds in the order in which they began.  Nothing here depends on how often a fold is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeVar

from benchsim.bench.plan import Plan
from benchsim.faults.fault import Entry, LinkPart, NodePart, catalogue
from benchsim.ground.commands import StartFault
from benchsim.ground.errors import BadInput, unknown
from benchsim.scale.parts import Digitiser, ScaleParts

Part = TypeVar("Part")

WHOLE_SCALE = ("deck", "site")


@dataclass(frozen=True, slots=True)
class _Acting:
    entry: Entry
    fault: Any
    target: int
    began_us: int


class ActiveFaults:
    """The faults that act, by key."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._acting: dict[str, _Acting] = {}

    def start(self, command: StartFault, now_us: int) -> None:
        """Begin a fault.  Raises BadInput: unknown fault, target or figure, key in use."""
        if command.key in self._acting:
            raise BadInput(f"a fault {command.key!r} is acting already", "give this one another name")
        known = catalogue()
        if command.fault not in known:
            raise unknown("fault", command.fault, known)
        entry = known[command.fault]
        self._check_target(entry, command.target)
        self._acting[command.key] = _Acting(entry, entry.make(command.parameters), command.target, now_us)

    def end(self, key: str) -> None:
        """End a fault.  Raises BadInput when none acts under this key."""
        if key not in self._acting:
            raise unknown("acting fault", key, self._acting)
        del self._acting[key]

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(self._acting)

    @property
    def vary(self) -> bool:
        """Whether any of them changes with its age."""
        return any(a.fault.varies for a in self._acting.values())

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
