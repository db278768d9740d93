"""Targets for both ends of the node link, as a story that the octets tell: a pairing, a flow, a silence, and
whatever somebody puts on the wire, with right CRCs and, where that somebody has the keys, with right tags.

Time is told by the octets too.  Whatever comes, neither end raises, asks without end to be asked again at
once, keeps more than it may, or takes a sample twice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, LinkState, Samples
from benchsim.link import codec, gaps, hub, node, pairing, seat, session, stream, watch
from benchsim.link.frames import FIRST_TAGGED, FROM_NODE, OF_NODE, Beat, Header, Kind
from benchsim.link.hub import Hub
from benchsim.link.limits import ANSWERS_KEPT, MAX_GAPS, SERIALS_KEPT, TAG_OCTETS
from benchsim.link.node import NodeEnd
from benchsim.link.parts import LinkSettings
from benchsim.link.session import Session
from benchsim.link.steps import Step
from benchsim.link.watch import Watch
from tests.fuzz.pieces import Pieces, Target
from tests.link.site import block_of, host_card, node_card

STRAP, NETWORK = 1, 7
KINDS = tuple(Kind)
STEPS = {str(step) for step in Step}
MOST_ON_THE_WIRE = 64
MOST_TURNS = 24
MOST_ASKED = 4  # how often an end may ask to be asked again at once
FURTHEST_US = 1 << 52  # a century and more


@dataclass
class Link:
    """Both ends, what is on its way between them, and what has been."""

    hub: Hub
    node: NodeEnd
    now_us: int = 0
    fed: int = 0
    down: list[bytes] = field(default_factory=list)
    up: list[bytes] = field(default_factory=list)
    heard: list[bytes] = field(default_factory=list)
    samples: dict[int, tuple[Watch, set[int]]] = field(default_factory=dict)

    # -- one turn ----------------------------------------------------------------------------------------

    def work(self) -> None:
        """Ask both ends what is due, and look at what they are."""
        for _ in range(MOST_ASKED):
            frames, told, host_us = self.hub.due(self.now_us)
            self._tell(told)
            self.down += [frame for _, frame in frames]
            sent, node_us = self.node.due(self.now_us)
            self.up += sent
            if all(us is None or us > self.now_us for us in (host_us, node_us)):
                break
        else:
            raise AssertionError("an end asks to be asked again at once, without end")
        self.heard += self.down[-4:] + self.up[-4:]
        for kept, most in ((self.up, MOST_ON_THE_WIRE), (self.down, MOST_ON_THE_WIRE), (self.heard, 32)):
            del kept[:-most]
        self._bounds()

    def _bounds(self) -> None:
        one = self.hub.seats[STRAP]
        assert len(one._others) <= SERIALS_KEPT
        assert len(one.out) <= 1
        assert len(self.node._outbox) <= 2 * ANSWERS_KEPT
        if one.watch is not None:
            assert len(one.watch.gaps.gaps) <= MAX_GAPS
            assert all(gap.first < gap.end for gap in one.watch.gaps.gaps)
        assert str(self.node.step) in STEPS
        assert self.node.samples_per_frame is None or self.node.samples_per_frame >= 1

    def _tell(self, told: Sequence[object], current: Watch | None = None) -> None:
        for one in told:
            if isinstance(one, LinkState):
                assert one.step in STEPS
            elif isinstance(one, ClockReading):
                assert one.round_trip_us >= 0
            else:
                assert isinstance(one, Samples)
                assert current is not None
                self._sample(one, current)

    def _sample(self, one: Samples, current: Watch) -> None:
        assert len(one.octets) == 4 * one.rows * one.channels
        assert len(one.status) == one.channels
        had = self.samples.setdefault(id(current), (current, set()))[1]
        new = set(range(one.first, one.first + one.rows))
        assert new
        assert not had & new
        had |= new

    def hear(self, frame: bytes, at_node: bool) -> None:
        if at_node:
            self.node.receive(frame, self.now_us)
        else:
            current = self.hub.seats[STRAP].watch  # a frame can be the last of a flow
            self._tell(self.hub.receive(frame, self.now_us), current)

    def carry(self) -> None:
        """All that is on its way arrives."""
        down, up = self.down, self.up
        self.down, self.up = [], []
        for frame in down:
            self.hear(frame, at_node=True)
        for frame in up:
            self.hear(frame, at_node=False)

    def walk(self, until_us: int) -> None:
        """Time passes as on an undisturbed line, for some turns; whoever is late then is asked late."""
        until_us = min(until_us, FURTHEST_US)
        for _ in range(MOST_TURNS):
            self.work()
            if not (self.up or self.down):
                wakes = [w for w in (self.hub.wake_us, self.node.wake_us) if w is not None]
                if min(wakes, default=until_us) >= until_us:
                    break
                self.now_us = max(self.now_us, min(wakes))
                continue
            self.carry()
        self.now_us = max(self.now_us, until_us)
        self.work()


# -- what the octets can make happen -----------------------------------------------------------------------


def _wait(link: Link, pieces: Pieces) -> None:
    link.walk(link.now_us + pieces.number() * 10_000)


def _jump(link: Link, pieces: Pieces) -> None:
    link.now_us = min(link.now_us + (1 << pieces.number() % 46), FURTHEST_US)


def _lose(link: Link, pieces: Pieces) -> None:
    (link.up if pieces.number() & 1 else link.down).clear()


def _feed(link: Link, pieces: Pieces) -> None:
    rows = pieces.number() % 200 + 1
    if link.fed < 4000:
        link.node.feed(block_of(link.node.card, link.fed, rows))
        link.fed += rows


def _ask(link: Link, pieces: Pieces) -> None:
    asked: tuple[Callable[[], object], ...] = (
        lambda: link.hub.pair(STRAP, link.now_us),
        lambda: link.hub.pair(0, link.now_us),
        lambda: link.hub.release(STRAP, link.now_us),
        link.node.recommission,
        lambda: link.node.restart(link.now_us),
    )
    asked[pieces.number() % len(asked)]()


def _raw(link: Link, pieces: Pieces) -> None:
    link.hear(pieces.some(), bool(pieces.number() & 1))


def _sealed(link: Link, pieces: Pieces) -> None:
    """A stranger's frame: a good header, any payload, any tag, a right CRC."""
    kind = KINDS[pieces.number() % len(KINDS)]
    content = _header(link, kind, pieces.number(2)) + pieces.some()
    link.hear(codec.seal(content, bytes(TAG_OCTETS) if kind >= FIRST_TAGGED else b""), kind not in OF_NODE)


def _header(link: Link, kind: Kind, twist: int) -> bytes:
    """As it should be now, but for one octet when twist has one."""
    exchange = link.hub.seats[STRAP]._exchange
    number = exchange.number if exchange is not None else 1
    from_node = FROM_NODE if kind in OF_NODE else 0
    made = bytearray(codec.HEADER.pack(1, kind, NETWORK, STRAP, from_node, number, 0))
    made[twist % 16 % len(made)] ^= twist >> 8
    return bytes(made)


def _of_session(link: Link, kind: Kind) -> Session | None:
    """Whose keys a frame of this kind would have."""
    if kind in OF_NODE:
        return link.node.session
    current = link.hub.seats[STRAP].watch
    return current.session if current is not None else None


def _tagged(link: Link, pieces: Pieces) -> None:
    """A frame of who has the keys: the next in its lane or any other, with any payload."""
    kind = KINDS[pieces.number() % len(KINDS)]
    how, content = pieces.number(), pieces.some()
    own = _of_session(link, kind)
    if own is None or kind < FIRST_TAGGED:
        return
    sequence = pieces.number(4) if how & 1 else (own.data_sequence if kind == Kind.DATA else own.sequence)
    if not how & 1 and kind == Kind.DATA:
        own.data_sequence += 1
    elif not how & 1:
        own.sequence += 1
    tagger = own.resume if kind in (Kind.RESUME, Kind.RESUMED) else own.out
    made = codec.body_of(Header(own.version, kind, own.network, own.address, own.from_node, own.number,
                                min(sequence, 0xFFFF_FFFF)), _EMPTY)[:14] + content  # fmt: skip
    link.hear(codec.seal(made, tagger.tag(made)), kind not in OF_NODE)


def _twist(link: Link, pieces: Pieces) -> None:
    """One octet of a frame on its way is changed and its CRC made right; of a tagged one the tag too."""
    how, place, value = pieces.number(), pieces.number(2), pieces.number()
    on_its_way = link.up if how & 1 else link.down
    if not on_its_way:
        return
    frame = bytearray(on_its_way[-1][:-4])
    frame[place % len(frame)] ^= value
    own = _of_session(link, Kind.ECHO if how & 1 else Kind.BEAT)
    if how & 2 and own is not None and frame[1] >= FIRST_TAGGED:
        tagger = own.resume if frame[1] in (Kind.RESUME, Kind.RESUMED) else own.out
        frame[-TAG_OCTETS:] = tagger.tag(bytes(frame[:-TAG_OCTETS]))
    on_its_way[-1] = codec.seal(bytes(frame))


def _again(link: Link, pieces: Pieces) -> None:
    """What was said before is heard again."""
    if link.heard:
        frame = link.heard[pieces.number() % len(link.heard)]
        link.hear(frame, not frame[5] & FROM_NODE)


def _tired(link: Link, pieces: Pieces) -> None:
    """A lane's counter comes near its end, at the end that sends."""
    how, number = pieces.number(), pieces.number(4)
    own = _of_session(link, Kind.ECHO if how & 1 else Kind.BEAT)
    if own is not None:
        own.sequence = max(own.sequence, number)


WAIT, JUMP, LOSE, FEED, ASK, RAW, SEALED, TAGGED, TWIST, AGAIN, TIRED, CARRY = range(12)
DEEDS: tuple[Callable[[Link, Pieces], None], ...] = (
    _wait, _jump, _lose, _feed, _ask, _raw, _sealed, _tagged, _twist, _again, _tired,
    lambda link, _: link.carry(),
)  # fmt: skip
_EMPTY = Beat(0)


def _begin(pieces: Pieces) -> Link | None:
    """Two ends of any cards; None for cards that cannot be."""
    how = pieces.number()
    k, channels, cells, most = 8, 4, 4, 80
    settings = LinkSettings()
    rate_hz, reach = 80, 1024
    if how & 1:
        k, channels, cells, most = (pieces.number() for _ in range(4))
        rate_hz, reach = pieces.number(2), pieces.number(2)
        settings = LinkSettings(k, pieces.number(4), pieces.number(4), pieces.number(4), pieces.number(4), 3)
    try:
        host = Hub(host_card((STRAP,), cells, settings=settings), Dice(1))
        card = node_card(
            STRAP, channels=channels, rate_hz=rate_hz, buffer_samples=reach, most_samples_per_frame=most
        )
        return Link(host, NodeEnd(card, Dice(2), lambda t_us: t_us + 77))
    except BadInput:
        return None


def both_ends(octets: bytes) -> None:
    """A whole story."""
    pieces = Pieces(octets)
    link = _begin(pieces)
    while link is not None and pieces:
        DEEDS[pieces.number() % len(DEEDS)](link, pieces)
        link.work()


def one_end(octets: bytes, at_node: bool) -> None:
    """An end in some step, by a story of its own, then nothing but frames from outside."""
    pieces = Pieces(octets)
    link = _begin(Pieces(b""))
    assert link is not None
    link.node.feed(block_of(link.node.card, 0, 160))
    link.hub.pair(STRAP, 0)
    link.walk(pieces.number() * 16_000)
    if pieces.number() & 1:
        _jump(link, pieces)
        link.work()
    while pieces:
        how, content = pieces.number(), pieces.some()
        link.now_us = min(link.now_us + pieces.number(2), FURTHEST_US)
        if how & 1:
            content = codec.seal(content)
        link.hear(content, at_node)
        link.work()
        link.up.clear()
        link.down.clear()


def at_the_node(octets: bytes) -> None:
    """Frames that a node hears."""
    one_end(octets, at_node=True)


def at_the_host(octets: bytes) -> None:
    """Frames that a host hears."""
    one_end(octets, at_node=False)


TARGETS = {
    "ends": Target(
        both_ends,
        (node, hub, seat, watch, pairing, session, stream, gaps),
        (
            "watch.Watch.resumed", "watch.Watch._fill", "watch.Watch._odd", "seat.Seat._refused_resume",
            "seat.Seat._release_again", "node.NodeEnd._on_resume", "stream.Stream._repeat", "gaps.Gaps.gone",
        ),
        longest=800,
    ),
    "node": Target(
        at_the_node, (node, pairing, session), ("node.NodeEnd._refuse", "node.NodeEnd._on_session")
    ),
    "host": Target(at_the_host, (hub, seat, watch), ("seat.Seat._on_offer", "seat.Seat._on_refuse")),
}  # fmt: skip
