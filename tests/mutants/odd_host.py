"""What wrong hosts are made of: the built-in host with one part exchanged, and a list of all of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

from benchsim.ground.randomness import Dice, Streams
from benchsim.link.codec import Frame
from benchsim.link.frames import Accept
from benchsim.link.hub import Hub
from benchsim.link.pairing import HostExchange
from benchsim.link.parts import HostCard
from benchsim.link.seat import Seat
from benchsim.link.session import Session
from benchsim.link.watch import Watch
from benchsim.probe.run import Device
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import HostStandIn


class OddSeat(Seat):
    """A seat that can be given another exchange, watch or session."""

    exchange_type: ClassVar[type[HostExchange]] = HostExchange
    watch_type: ClassVar[type[Watch]] = Watch
    session_type: ClassVar[type[Session]] = Session

    def _seek(self, at_us: int) -> None:
        super()._seek(at_us)
        assert self._exchange is not None
        self._exchange.__class__ = self.exchange_type

    def _on_accept(self, frame: Frame, accept: Accept, now_us: int) -> None:
        before = self.watch
        super()._on_accept(frame, accept, now_us)
        if self.watch is not None and self.watch is not before:
            self.watch.__class__ = self.watch_type
            self.watch.session.__class__ = self.session_type


@dataclass(frozen=True, slots=True)
class WrongHost:
    """One wrong host.  made_for: the case that is there because of it."""

    name: str
    made_for: str
    hub: Callable[[HostCard, Dice], Hub]

    def device(self, setting: Setting, streams: Streams) -> Device:
        return HostStandIn(setting, streams, self.hub)


WRONG_HOSTS: dict[str, WrongHost] = {}


def wrong(made_for: str) -> Callable[[type[Any]], type[Any]]:
    """Enter a wrong seat, exchange, watch, session or hub."""

    def enter(kind: type[Any]) -> type[Any]:
        if issubclass(kind, Hub):
            WRONG_HOSTS[kind.__name__] = WrongHost(kind.__name__, made_for, kind)
            return kind
        if issubclass(kind, Seat):
            seat: Callable[..., Seat] = kind
        else:
            place = {HostExchange: "exchange_type", Watch: "watch_type", Session: "session_type"}
            attribute = next(name for base, name in place.items() if issubclass(kind, base))
            seat = type(kind.__name__, (OddSeat,), {attribute: kind})

        def hub(card: HostCard, dice: Dice) -> Hub:
            made = Hub(card, dice)
            made.seats = {e.address: seat(card, e, dice) for e in card.expected}
            return made

        WRONG_HOSTS[kind.__name__] = WrongHost(kind.__name__, made_for, hub)
        return kind

    return enter
