"""What can happen between hosts and nodes, told as small runs.  Each gives the site as it stands at the end.

The tests look at how each ends; another test plays them all and wants every line of both step tables used.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from benchsim.ground.randomness import Dice, Streams
from benchsim.link import codec
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind
from benchsim.link.hub import Hub
from benchsim.link.impairment import Passage
from benchsim.link.impairments.outage import Outage
from benchsim.link.limits import REKEY_AT
from benchsim.link.parts import Expected, LinkSettings
from tests.link.site import Place, Site, flowing, host_card, node_card, site

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
    seen: list[bytes] = field(default_factory=list)

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        change = self.change
        if kind_of(frame) is not change.kind:
            return [(t_us, frame)]
        content = bytearray(frame[:-4])
        at = change.at % len(content)
        content[at : at + len(change.octets)] = change.octets
        return [(t_us, codec.seal(bytes(content)))]


def paired(place: Site, until_us: int = 4 * SECOND) -> Site:
    """Pair all, and run."""
    place.hub.pair(0, place.queue.now_us)
    place.run(place.queue.now_us + until_us)
    return place


def _silent(place: Site, up: bool = True, down: bool = True) -> Place:
    node = place.places[0]
    if up:
        node.up.change(SILENCE)
    if down:
        node.down.change(SILENCE)
    return node


def _heal(place: Site) -> None:
    for node in place.places:
        node.up.change(())
        node.down.change(())


# -- pairing -------------------------------------------------------------------------------------------


def all_well() -> Site:
    return flowing((1, 2, 3))


def nobody_there() -> Site:
    place = site((1, 2))
    place.add(node_card(2))
    return paired(place)


def two_nodes_on_one_address() -> Site:
    place = site()
    place.add(node_card(1))
    place.add(node_card(1, serial=0x2002))
    return paired(place)


def two_nodes_one_offer_lost() -> Site:
    """The second node's offers are lost; it says so when another is asked to prove."""
    place = site()
    place.add(node_card(1))
    place.add(node_card(1, serial=0x2002), up=(Drop(Kind.OFFER),))
    return paired(place)


def two_nodes_late_offer() -> Site:
    """The second node's offer comes while the first is asked to prove."""
    place = site()
    place.add(node_card(1), down=(Drop(Kind.PROVE),))
    late = place.add(node_card(1, serial=0x2002), up=(Drop(Kind.OFFER), Drop(Kind.REFUSE)))
    paired(place, 300_000)
    late.up.change(())
    seek = next(frame for _, way, frame in place.wire if way == "down")
    late.end.receive(seek, place.queue.now_us)
    place.run(4 * SECOND)
    return place


def wrong_network() -> Site:
    place = site()
    place.add(node_card(1, network=8))
    return paired(place)


def neighbour_keeps_quiet() -> Site:
    """A working node of another network on the same strap is no reason to fail."""
    place = site()
    neighbour = place.add(node_card(1, network=8, serial=0x2002))
    neighbour.end.bound_host = OTHER_HOST
    place.add(node_card(1))
    return paired(place)


def wrong_key_at_the_node() -> Site:
    place = site()
    place.add(node_card(1, key=bytes(16)))
    return paired(place)


def wrong_proof_of_the_node() -> Site:
    """A node that does not look at proofs and has none itself."""
    place = site()
    place.add(node_card(1), up=(Change(Kind.ACCEPT, -1, b"\x55"),))
    return paired(place)


def worthless_public_value() -> Site:
    place = site()
    place.add(node_card(1), up=(Change(Kind.OFFER, -32, bytes(32)),))
    return paired(place)


def bound_to_another_host() -> Site:
    place = flowing()
    place.hub = Hub(host_card((1,), host_id=OTHER_HOST), Streams("other").dice("hub"))
    return paired(place)


def fewer_channels() -> Site:
    place = site()
    place.add(node_card(1, channels=2))
    return paired(place)


def unknown_version() -> Site:
    place = site(versions=(2, 3))
    place.add(node_card(1))
    return paired(place)


def second_version() -> Site:
    place = site(versions=(1, 2))
    place.add(node_card(1, versions=(2, 4)))
    return paired(place)


def fingerprint_changed() -> Site:
    place = site(expected=(Expected(1, 4, bytes(8)),))
    place.add(node_card(1, fingerprint=b"\x01" + bytes(7)))
    return paired(place)


def fingerprint_as_sealed() -> Site:
    place = site(expected=(Expected(1, 4, bytes(range(8))),))
    place.add(node_card(1, fingerprint=bytes(range(8))))
    return paired(place)


def proofs_unanswered() -> Site:
    place = site()
    place.add(node_card(1), down=(Drop(Kind.PROVE),))
    return paired(place, 6 * SECOND)


def every_pairing_frame_lost_once() -> Site:
    place = site()
    up = tuple(Drop(k, 1) for k in (Kind.OFFER, Kind.ACCEPT))
    down = tuple(Drop(k, 1) for k in (Kind.SEEK, Kind.PROVE))
    place.add(node_card(1), up, down)
    return paired(place)


def node_restarts_after_its_offer() -> Site:
    place = site()
    node = place.add(node_card(1))
    place.hub.pair(0, 0)
    place.run(190_000)
    node.end.restart(190_000)
    place.run(4 * SECOND)
    return place


def node_forgets_every_offer() -> Site:
    place = site()
    node = place.add(node_card(1), down=(Change(Kind.PROVE, 6, b"\x01\x01\x01\x01"),))
    del node
    return paired(place, 9 * SECOND)


def host_goes_away_after_the_offer() -> Site:
    place = site()
    place.add(node_card(1), down=(Drop(Kind.PROVE),))
    place.hub.pair(0, 0)
    place.run(250_000)
    place.hub.release(1, 250_000)
    place.run(6 * SECOND)
    return place


# -- flow ----------------------------------------------------------------------------------------------


def outage_of_both_ways() -> Site:
    """Seven seconds of nothing: both ends see silence."""
    place = flowing()
    _silent(place)
    place.run(9 * SECOND)
    _heal(place)
    place.run(12 * SECOND)
    return place


def outage_downwards() -> Site:
    """The node hears no beat and stops; one beat gets through before the host gives it up."""
    place = site(settings=LinkSettings(liveness_us=2 * SECOND))
    place.add(node_card(1))
    paired(place, 2 * SECOND)
    _silent(place, up=False)
    place.run(5_600_000)
    _heal(place)
    place.run(9 * SECOND)
    return place


def node_restarts() -> Site:
    place = flowing()
    place.places[0].end.restart(place.queue.now_us)
    place.run(5 * SECOND)
    return place


def node_is_away_for_long() -> Site:
    """A restart, and the link is gone while it is sought again; then it comes back."""
    place = flowing()
    node = place.places[0]
    node.end.restart(place.queue.now_us)
    node.up.change((Drop(Kind.OFFER),))
    place.run(12 * SECOND)
    _heal(place)
    place.run(16 * SECOND)
    return place


def proofs_lost_after_a_restart() -> Site:
    place = flowing()
    node = place.places[0]
    node.end.restart(place.queue.now_us)
    node.down.change((Drop(Kind.PROVE),))
    place.run(12 * SECOND)
    _heal(place)
    place.run(16 * SECOND)
    return place


def host_restarts() -> Site:
    """A new host of the same number pairs with nodes that still flow."""
    place = flowing()
    place.hub = Hub(place.hub.card, Streams("again").dice("hub"))
    return paired(place)


def host_restarts_after_silence() -> Site:
    place = flowing()
    _silent(place)
    place.run(9 * SECOND)
    _heal(place)
    place.hub = Hub(place.hub.card, Streams("again").dice("hub"))
    return paired(place)


def new_keys_before_a_counter_ends() -> Site:
    place = flowing()
    watch = place.hub.seats[1].watch
    assert watch is not None
    watch.session.sequence = REKEY_AT
    place.run(5 * SECOND)
    return place


def released() -> Site:
    place = flowing()
    place.hub.release(1, place.queue.now_us)
    place.run(4 * SECOND)
    return place


def released_answer_lost() -> Site:
    place = flowing()
    place.places[0].up.change((Drop(Kind.RELEASED, 2),))
    place.hub.release(1, place.queue.now_us)
    place.run(5 * SECOND)
    return place


def released_and_taken_by_another() -> Site:
    place = released()
    place.hub = Hub(host_card((1,), host_id=OTHER_HOST), Streams("other").dice("hub"))
    return paired(place)


def release_never_answered() -> Site:
    place = flowing()
    _silent(place)
    place.hub.release(1, place.queue.now_us)
    place.run(8 * SECOND)
    return place


def released_while_lost() -> Site:
    place = flowing()
    _silent(place, up=False)
    place.run(8 * SECOND)
    _heal(place)
    place.hub.release(1, place.queue.now_us)
    place.run(10 * SECOND)
    return place


def recommissioned_while_flowing() -> Site:
    place = flowing()
    place.places[0].end.recommission()
    place.run(2_900_000)
    return place


# -- into any step -------------------------------------------------------------------------------------


def host_in(step: str) -> Site:
    """A site whose host stands in a step at address 1."""
    match step:
        case "idle":
            place = site()
            place.add(node_card(1))
        case "seek":
            place = site()
            place.add(node_card(1))
            place.hub.pair(0, 0)
            place.run(50_000)
        case "prove":
            place = site()
            place.add(node_card(1), down=(Drop(Kind.PROVE),))
            place.hub.pair(0, 0)
            place.run(300_000)
        case "failed":
            place = fewer_channels()
        case "release":
            place = flowing()
            _silent(place)
            place.hub.release(1, place.queue.now_us)
            place.run(place.queue.now_us + 10_000)
        case "released":
            place = released()
        case "lost":
            place = flowing()
            _silent(place)
            place.run(4 * SECOND)
        case _:
            place = flowing()
    return place


def node_in(step: str) -> Site:
    """A site whose node stands in a step."""
    match step:
        case "idle":
            return host_in("idle")
        case "offer":
            return host_in("prove")
        case "released":
            return released()
        case "lost":
            place = flowing()
            _silent(place)
            place.run(9 * SECOND)
            return place
    return flowing()


def _asked_from(step: str, ask: str) -> Callable[[], Site]:
    def story() -> Site:
        place = host_in(step)
        _heal(place)
        now_us = place.queue.now_us
        if ask == "pair":
            place.hub.pair(1, now_us)
        else:
            place.hub.release(1, now_us)
        place.run(now_us + 3 * SECOND)
        return place

    return story


def _node_from(step: str, act: str) -> Callable[[], Site]:
    def story() -> Site:
        place = node_in(step)
        end = place.places[0].end
        if act == "restart":
            end.restart(place.queue.now_us)
        else:
            end.recommission()
        return place

    return story


HOST_STEPS_TO_ASK = ("idle", "seek", "prove", "flow", "lost", "failed", "release", "released")
NODE_STEPS_TO_ACT = ("idle", "offer", "flow", "lost", "released")

STORIES: dict[str, Callable[[], Site]] = {
    s.__name__: s
    for s in (
        all_well, nobody_there, two_nodes_on_one_address, two_nodes_one_offer_lost, two_nodes_late_offer,
        wrong_network, neighbour_keeps_quiet, wrong_key_at_the_node, wrong_proof_of_the_node,
        worthless_public_value, bound_to_another_host, fewer_channels, unknown_version, second_version,
        fingerprint_changed, fingerprint_as_sealed, proofs_unanswered, every_pairing_frame_lost_once,
        node_restarts_after_its_offer, node_forgets_every_offer, host_goes_away_after_the_offer,
        outage_of_both_ways, outage_downwards, node_restarts, node_is_away_for_long,
        proofs_lost_after_a_restart, host_restarts, host_restarts_after_silence,
        new_keys_before_a_counter_ends, released, released_answer_lost, released_and_taken_by_another,
        release_never_answered, released_while_lost, recommissioned_while_flowing,
    )
}  # fmt: skip
STORIES |= {
    f"{ask}_asked_from_{step}": _asked_from(step, ask)
    for step in HOST_STEPS_TO_ASK
    for ask in ("pair", "release")
}
STORIES |= {
    f"{act}_from_{step}": _node_from(step, act)
    for step in NODE_STEPS_TO_ACT
    for act in ("restart", "recommission")
}
