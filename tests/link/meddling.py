"""Impairments that know the protocol, for tests that need one frame lost or changed and no other."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchsim.ground.randomness import Dice
from benchsim.link import codec
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind
from benchsim.link.impairment import Passage
from benchsim.link.impairments.outage import Outage
from tests.link.site import Place, Site

SILENCE = (Outage(),)
SECOND = 1_000_000
OTHER_HOST = 0xB0


def kind_of(frame: bytes) -> Kind:
    """The kind of a sealed frame."""
    heard = codec.read(frame)
    assert isinstance(heard, Frame)
    return Kind(heard.header.kind)


@dataclass(frozen=True)
class Drop:
    """Loses the frames of a kind: the first so many of them, or all."""

    kind: Kind
    count: int = 1 << 30

    def start(self, dice: Dice) -> Passage:
        return _Dropping(self.kind, self.count)


@dataclass
class _Dropping:
    kind: Kind
    left: int

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        if kind_of(frame) is self.kind and self.left:
            self.left -= 1
            return []
        return [(t_us, frame)]


@dataclass(frozen=True)
class Every:
    """Of the frames of a kind lets only every n-th through."""

    kind: Kind
    nth: int

    def start(self, dice: Dice) -> Passage:
        return _Every(self.kind, self.nth)


@dataclass
class _Every:
    kind: Kind
    nth: int
    seen: int = 0

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        if kind_of(frame) is self.kind:
            self.seen += 1
            return [(t_us, frame)] if self.seen % self.nth == 0 else []
        return [(t_us, frame)]


@dataclass(frozen=True)
class Break:
    """Inverts the last bit of the payload of the frames of a kind and leaves the CRC as it was."""

    kind: Kind

    def start(self, dice: Dice) -> Passage:
        return _Breaking(self.kind)


@dataclass
class _Breaking:
    kind: Kind

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        if kind_of(frame) is not self.kind:
            return [(t_us, frame)]
        return [(t_us, frame[:-5] + bytes([frame[-5] ^ 1]) + frame[-4:])]


@dataclass(frozen=True)
class Change:
    """Puts other octets at a place of the frames of a kind, and makes the CRC right again."""

    kind: Kind
    at: int
    octets: bytes

    def start(self, dice: Dice) -> Passage:
        return _Changing(self)


@dataclass
class _Changing:
    change: Change

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        change = self.change
        if kind_of(frame) is not change.kind:
            return [(t_us, frame)]
        content = bytearray(frame[:-4])
        at = change.at % len(content)
        content[at : at + len(change.octets)] = change.octets
        return [(t_us, codec.seal(bytes(content)))]


@dataclass(frozen=True)
class Meddler:
    """Sends old frames again, and changed ones with their CRC made right: a hostile medium."""

    probability: float

    def start(self, dice: Dice) -> Passage:
        return _Meddling(self.probability, dice)


@dataclass
class _Meddling:
    probability: float
    dice: Dice
    heard: list[bytes] = field(default_factory=list)

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        self.heard.append(frame)
        out = [(t_us, frame)]
        if self.dice.unit() < self.probability:
            out.append((t_us + 50, self.heard[self.dice.below(len(self.heard))]))
        if self.dice.unit() < self.probability:
            content = bytearray(frame[:-4])
            content[self.dice.below(len(content))] ^= 1 << self.dice.below(8)
            out.insert(0, (t_us, codec.seal(bytes(content))))
        return out


def paired(place: Site, until_us: int = 4 * SECOND) -> Site:
    """Pair all, and run."""
    place.hub.pair(0, place.queue.now_us)
    place.run(place.queue.now_us + until_us)
    return place


def silent(place: Site, up: bool = True, down: bool = True) -> Place:
    node = place.places[0]
    if up:
        node.up.change(SILENCE)
    if down:
        node.down.change(SILENCE)
    return node


def heal(place: Site) -> None:
    for node in place.places:
        node.up.change(())
        node.down.change(())
