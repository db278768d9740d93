"""A place of the node link, as people write it, to the carrier that brings frames there and back.

One form a medium; each medium is a small file in carriers/ that knows nothing of the others.
"""

from __future__ import annotations

from collections.abc import Callable

from benchsim.ground.errors import BadInput
from benchsim.serve.carriers.broker import BrokerCarrier
from benchsim.serve.carriers.calling import TcpCaller
from benchsim.serve.carriers.medium import FRAMES, Carrier, Heard, Side, Tell
from benchsim.serve.carriers.mqtt import MqttCarrier, parse_place
from benchsim.serve.carriers.streams import LIMITS, StreamCarrier
from benchsim.serve.carriers.udp import UdpCaller, UdpListener
from benchsim.serve.live import Connection
from benchsim.serve.serial_port import PSEUDO, PseudoTerminal, RealPort
from benchsim.serve.sockets import TcpRim, parse_address

__all__ = ["FORMS", "Carrier", "Connection", "Heard", "Side", "Tell", "check_reach", "make_carrier"]

BAUD = 115_200  # one node of 4 channels at 80 Hz needs more than 9600

FORMS = {
    "tcp": "tcp:[HOST:]PORT",
    "listen-tcp": "listen-tcp:[HOST:]PORT",
    "udp": "udp:[HOST:]PORT",
    "listen-udp": "listen-udp:[HOST:]PORT",
    PSEUDO: PSEUDO,
    "serial": f"serial:PORT[@BAUD], {BAUD} baud when none is named",
    "mqtt": "mqtt:[HOST:]PORT/PREFIX",
    "listen-mqtt": "listen-mqtt:[HOST:]PORT/PREFIX",
}


def make_carrier(place: str, side: Side) -> Carrier:
    """The carrier of a place, not open yet.  side: which end of the link sits on it.

    Raises BadInput: no such form (all are listed), or a library that it needs is not installed.
    """
    medium, _, rest = place.partition(":")
    if medium not in FORMS or (medium == PSEUDO) == bool(rest):
        raise BadInput(f"{place!r} is no place for the node link", f"write {'; '.join(FORMS.values())}")
    try:
        return _MAKERS[medium](rest, side)
    except BadInput as error:
        raise BadInput(f"{place}: {error.found}", error.right) from None


def check_reach(place: str, side: Side) -> None:
    """Raises BadInput where a host would seek nobody: a UDP listener only answers, a host speaks first."""
    if side is Side.HOST and place.startswith("listen-udp:"):
        raise BadInput(f"{place}: over udp nobody comes to a host, it speaks first", "name udp:HOST:PORT")


def _tcp(address: str, _side: Side) -> Carrier:
    parse_address(address, lowest=1)
    return StreamCarrier(lambda house: TcpCaller(house, address, LIMITS))


def _listen_tcp(address: str, _side: Side) -> Carrier:
    parse_address(address)
    return StreamCarrier(lambda house: TcpRim(house, address, LIMITS), other_end="tcp")


def _pseudo(_rest: str, _side: Side) -> Carrier:
    return StreamCarrier(lambda house: PseudoTerminal(house, FRAMES), other_end="serial")


def _serial(text: str, _side: Side) -> Carrier:
    port, at, baud_text = text.rpartition("@")
    if not at:
        port, baud_text = text, str(BAUD)
    if not port or not (baud_text.isascii() and baud_text.isdigit() and 50 <= int(baud_text) <= 4_000_000):
        raise BadInput(f"{text!r} names no port and baud rate", f"write {FORMS['serial']}")
    return StreamCarrier(lambda house: RealPort(house, port, int(baud_text), FRAMES))


_MAKERS: dict[str, Callable[[str, Side], Carrier]] = {
    "tcp": _tcp,
    "listen-tcp": _listen_tcp,
    "udp": lambda address, _side: UdpCaller(address),
    "listen-udp": lambda address, _side: UdpListener(address),
    PSEUDO: _pseudo,
    "serial": _serial,
    "mqtt": lambda text, side: MqttCarrier(parse_place(text), side),
    "listen-mqtt": lambda text, side: BrokerCarrier(parse_place(text, lowest_port=0), side),
}
