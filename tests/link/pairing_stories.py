"""How pairing goes, well and badly.  Each story gives the site as it stands at the end."""

from __future__ import annotations

from benchsim.ground.randomness import Streams
from benchsim.link import codec
from benchsim.link.frames import Kind
from benchsim.link.hub import Hub
from benchsim.link.parts import Expected
from tests.link.meddling import OTHER_HOST, SECOND, Break, Change, Drop, Every, heal, kind_of, paired
from tests.link.site import Site, flowing, host_card, node_card, site


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


def more_cells_than_addresses() -> Site:
    place = site((1, 2), scale_cells=10)
    place.add(node_card(1))
    place.add(node_card(2))
    return paired(place)


def one_address_for_six_cells() -> Site:
    place = site(expected=(Expected(1, 6), Expected(2, 2)))
    place.add(node_card(1))
    place.add(node_card(2))
    return paired(place)


def a_cell_without_an_address() -> Site:
    place = site(expected=(Expected(1, 4), Expected(2, 4), Expected(3, 1)), scale_cells=10)
    place.add(node_card(1))
    return paired(place)


def another_rate() -> Site:
    place = site(expected=(Expected(1, 4, rate_hz=80),))
    place.add(node_card(1, rate_hz=100))
    return paired(place)


def link_too_poor() -> Site:
    """The four words of pairing come through, and hardly a frame of data after them."""
    place = site()
    place.add(node_card(1), up=(Every(Kind.DATA, 10),))
    return paired(place, 5 * SECOND)


def link_too_poor_for_the_proof() -> Site:
    """The first seek is lost, the second answered, no prove is."""
    place = site()
    place.add(node_card(1), down=(Drop(Kind.SEEK, 1), Drop(Kind.PROVE)))
    return paired(place, 6 * SECOND)


def proofs_broken() -> Site:
    """Each prove is answered, but no accept arrives whole."""
    place = site()
    place.add(node_card(1), up=(Break(Kind.ACCEPT),))
    return paired(place, 6 * SECOND)


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


def forged_prove_before_the_right_one() -> Site:
    place = site()
    node = place.add(node_card(1), down=(Drop(Kind.PROVE),))
    place.hub.pair(0, 0)
    place.run(300_000)
    prove = next(f for _, way, f in place.wire if way == "down" and kind_of(f) is Kind.PROVE)
    node.end.receive(codec.seal(prove[:-5] + bytes([prove[-5] ^ 1])), place.queue.now_us)
    heal(place)
    place.run(2 * SECOND)
    return place


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
