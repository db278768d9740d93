"""The end of the link that is somebody else's: what takes its place on the medium, and what is refused.

Frames go out by a callback and come in by Bench.hear; nothing here knows what carries them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from benchsim.bench.node import Node
from benchsim.bench.plan import Foreign, Plan
from benchsim.bench.seat import HostCommand, Told
from benchsim.faults.fault import HostPart
from benchsim.ground import commands as ask
from benchsim.ground.readings import Indication, LinkState, Outcome
from benchsim.host.host import Tick
from benchsim.host.overheard import Keep
from benchsim.link import data
from benchsim.link.frames import Kind
from benchsim.link.parts import BROADCAST_ADDRESS
from benchsim.link.steps import Step

NO_HOST = "the host is somebody else's here: ask that one"
WITHOUT_POWER = "without power"
NO_NODES = "the nodes are somebody else's here: what stands on the scale and what fails is up to them"
AT_NODES = (*ask.SITE_COMMANDS, ask.StartFault, ask.EndFault, ask.Recommission)
REFUSED: dict[Foreign, dict[type, str]] = {
    Foreign.NOBODY: {},
    Foreign.HOST: {ask.Ask: NO_HOST},
    Foreign.NODES: dict.fromkeys(AT_NODES, NO_NODES),
}


class Outlet:
    """Where frames for the foreign end go: nowhere until somebody is attached."""

    def __init__(self) -> None:
        self.send: Callable[[bytes], None] | None = None

    def to_host(self, frame: bytes, _now_us: int) -> None:
        """A frame of a node has arrived."""
        if self.send is not None:
            self.send(frame)

    def to_nodes(self, _address: int, frame: bytes, _now_us: int) -> None:
        """A frame of the host sets out."""
        if self.send is not None:
            self.send(frame)


class ForeignHost:
    """In the host's seat: somebody whose frames come from outside.

    Nothing can be shown and nothing asked here; for the link's states stands what became of the nodes.
    nodes: on the bench.  told: takes each change of a node.
    """

    def __init__(self, plan: Plan, outlet: Outlet, nodes: Callable[[], Sequence[Node]], told: Told) -> None:
        self.indication = _nothing(plan)
        self.settings = plan.host
        self.not_taken: Mapping[int, int] = {}
        self.hear = outlet.to_host
        self._nodes, self._told = nodes, told
        self._states: dict[int, LinkState] = {}

    @property
    def states(self) -> tuple[LinkState, ...]:
        """One a node, in the order of the plan."""
        return tuple(self._states[index] for index in sorted(self._states))

    def work(self, now_us: int) -> None:
        """A foreign host works by itself."""

    def look(self, now_us: int) -> Sequence[Tick]:
        """No indication: what becomes of the nodes is noticed as it happens."""
        return ()

    def notice(self, index: int, now_us: int) -> None:
        """Tell what has become of a node.  Asked for whenever something may have, so that no pace shows."""
        node = self._nodes()[index]
        end = node.end
        host = "" if end.bound_host is None else f", bound to host {end.bound_host:016X}"
        detail = f"serial {end.card.serial:016X}{host}"
        step, reason = (str(end.step), "") if node.powered else (str(Step.IDLE), WITHOUT_POWER)
        before = self._states.get(index)
        if before is None or (before.step, before.reason, before.detail) != (step, reason, detail):
            state = LinkState(node.strap, step, reason, detail, now_us)
            self._states[index] = state
            self._told(state)

    def command(self, command: HostCommand, now_us: int) -> Outcome:
        """Refused."""
        return Outcome(False, NO_HOST)

    def overhear(self, _keep: Keep) -> None:
        """What a foreign host hears is its own."""

    def take(self, _host: HostPart, _now_us: int) -> None:
        """What is wrong in a foreign host is its own."""


def address_of(frame: bytes) -> int:
    """For which address a foreign host's frame sets out; 0 for everyone, also when nobody can tell."""
    if not data.whole(frame) or frame[1] == Kind.SEEK:
        return BROADCAST_ADDRESS
    return frame[4]


def _nothing(plan: Plan) -> Indication:
    """What is shown where nobody of ours weighs."""
    return Indication(
        t_us=0, valid=False, reason=NO_HOST, unit=plan.host.unit, interval=plan.host.interval, gross_d=0,
        tare_d=0, net_d=0, tenths_gross_d=0, tenths_net_d=0, shows_net=False, preset_tare=False, motion=True,
        centre_of_zero=False, overload=False, underload=False, zero_error=False, initial_zero_error=False,
        tare_error=False,
    )  # fmt: skip
