"""Which faults act now, and what they make of each part.

A fault takes a part and gives a changed part; the stages never hear of faults, and two faults are two
folds in the order in which they began.  Nothing here depends on how often a fold is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

from benchsim.bench.plan import Plan
from benchsim.faults.fault import Entry, HostPart, LinkPart, NodePart, catalogue, grown
from benchsim.faults.growth import between
from benchsim.ground.clock import SECOND_US
from benchsim.ground.commands import StartFault
from benchsim.ground.errors import BadInput, unknown
from benchsim.link.parts import check_host, check_node
from benchsim.scale.parts import Digitiser, ScaleParts
from benchsim.scale.supply import Supply
from benchsim.scale.validate import check

Part = TypeVar("Part")

WHOLE = ("deck", "site", "host")
LOOKED_AT_US = 120 * SECOND_US  # of a fault that is to grow, second by second
LONG_RUN_US = 10 * 365 * 24 * 3_600 * SECOND_US


@dataclass(frozen=True, slots=True)
class _Acting:
    entry: Entry
    fault: Any
    target: int
    began_us: int
    grows_us: int

    @property
    def varies(self) -> bool:
        return bool(self.fault.varies) or self.grows_us > 0

    def fold(self, part: Part, now_us: int) -> Part:
        """The part as the fault has made it by now."""
        age_us = now_us - self.began_us
        faulty: Part = self.fault.fold(part, age_us)
        if age_us >= self.grows_us:
            return faulty
        return cast(Part, between(part, faulty, grown(age_us, self.grows_us)))


class ActiveFaults:
    """The faults that act, by key.  A value: beginning or ending one gives another."""

    def __init__(self, plan: Plan, acting: dict[str, _Acting] | None = None) -> None:
        self._plan = plan
        self._acting = acting or {}
        self._uneven = self._fed_unevenly()

    def with_fault(self, command: StartFault, now_us: int) -> ActiveFaults:
        """These and one more.  Raises BadInput: unknown fault, target or figure, key in use."""
        if command.key in self._acting:
            raise BadInput(f"a fault {command.key!r} is acting already", "give this one another name")
        known = catalogue()
        if command.fault not in known:
            raise unknown("fault", command.fault, known)
        entry = known[command.fault]
        self._check_target(entry, command.target)
        made = entry.make(command.parameters)
        one_more = _Acting(entry, made, command.target, now_us, command.grows_us)
        self._check_growth(one_more)
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
            check_host(self.host(at_us).card)

    def acts_on_host(self, key: str) -> bool:
        """Whether the fault of this key is one of the host."""
        return self._acting[key].entry.stage == "host"

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(self._acting)

    @property
    def youngest_varying(self) -> str:
        """Key of the fault that began last of those that change with their age.  KeyError: there is none."""
        keys = [key for key, acting in self._acting.items() if acting.varies]
        if not keys:
            raise KeyError("no fault that acts changes with its age")
        return keys[-1]

    @property
    def vary(self) -> bool:
        """Whether any of them changes with its age."""
        return self._uneven or any(a.varies for a in self._acting.values())

    @property
    def vary_beyond_scale(self) -> bool:
        """Whether any of those may change a node, its way to the host, or the host with its age."""
        beyond = ("node", "link", "host")
        return self._uneven or any(a.varies and a.entry.stage in beyond for a in self._acting.values())

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
        own = self._plan.nodes[index]
        part = self._fold("node", index + 1, NodePart(own.card, digitiser, True, own.supply), now_us)
        if part.powered and not part.supply.carries(now_us):
            return replace(part, powered=False)
        return part

    def _fed_unevenly(self) -> bool:
        """Whether some node's supply changes by itself: a battery that empties, or one at its edge."""
        plain = Supply()
        for index, own in enumerate(self._plan.nodes):
            stirred = [a for a in self._acting.values() if a.entry.stage == "node"]
            if own.supply == plain and not stirred:
                continue
            newest_us = max((a.began_us + a.grows_us for a in stirred), default=0)
            supply = self.node(index, newest_us).supply
            if supply.drains or supply.is_at_its_edge(newest_us):
                return True
        return False

    def link(self, index: int, now_us: int) -> LinkPart:
        """The way of the node at this index as the acting faults make it."""
        whole = LinkPart(self._plan.nodes[index].up, self._plan.nodes[index].down)
        return self._fold("link", index + 1, whole, now_us)

    def host(self, now_us: int) -> HostPart:
        """The host as the acting faults make it."""
        return self._fold("host", 0, HostPart(self._plan.host, self._plan.link), now_us)

    def _fold(self, stage: str, number: int, part: Part, now_us: int) -> Part:
        for acting in self._acting.values():
            if acting.entry.stage == stage and acting.target in (0, number):
                part = acting.fold(part, now_us)
        return part

    def _check_growth(self, acting: _Acting) -> None:
        """Raises BadInput for a fault that is there or not, and was told to grow."""
        stage, number = acting.entry.stage, max(1, acting.target)
        if not acting.grows_us:
            return
        try:
            for part in self._healthy(stage, number):
                for age_us in (*range(0, min(acting.grows_us, LOOKED_AT_US), SECOND_US), acting.grows_us):
                    between(part, acting.fault.fold(part, age_us), 0.5)
        except BadInput as error:
            raise BadInput(f"{acting.entry.name}: {error.found}", error.right) from None

    def _healthy(self, stage: str, number: int) -> tuple[Any, ...]:
        """The part of the plan on which a fault of this stage would act, in a tuple."""
        scale, nodes, index = self._plan.scale, self._plan.nodes, number - 1
        match stage:
            case "node":
                return (ActiveFaults(self._plan).node(index, 0),) if nodes else ()
            case "link":
                return (LinkPart(nodes[index].up, nodes[index].down),) if nodes else ()
            case "cell" | "wiring":
                return (scale.cells[index] if stage == "cell" else scale.wiring[index],)
            case "deck" | "site":
                return (scale.receptor if stage == "deck" else scale.site,)
        return (HostPart(self._plan.host, self._plan.link),)

    def _check_target(self, entry: Entry, target: int) -> None:
        if entry.stage in WHOLE:
            if target:
                raise BadInput(f"{entry.name} on {target}", f"a fault of the {entry.stage} takes no number")
            return
        what, most = ("cell", len(self._plan.scale.cells))
        if entry.stage in ("node", "link"):
            what, most = "node", len(self._plan.nodes)
        if not 0 <= target <= most:
            raise BadInput(f"{entry.name} on {what} {target}", f"there are {what}s 1 to {most}")
