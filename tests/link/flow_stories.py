"""What befalls a flow, and how it goes on.  Each story gives the site as it stands at the end."""

from __future__ import annotations

from benchsim.ground.randomness import Streams
from benchsim.link.frames import Kind, Release
from benchsim.link.hub import Hub
from benchsim.link.limits import REKEY_AT
from benchsim.link.parts import LinkSettings
from tests.link.meddling import OTHER_HOST, SECOND, Change, Drop, heal, paired, silent
from tests.link.site import Site, flowing, host_card, node_card, site


def outage_of_both_ways() -> Site:
    """Seven seconds of nothing: both ends see silence."""
    place = flowing()
    silent(place)
    place.run(9 * SECOND)
    heal(place)
    place.run(12 * SECOND)
    return place


def outage_downwards() -> Site:
    """The node hears no beat and stops; one beat gets through before the host gives it up."""
    place = site(settings=LinkSettings(liveness_us=2 * SECOND))
    place.add(node_card(1))
    paired(place, 2 * SECOND)
    silent(place, up=False)
    place.run(5_600_000)
    heal(place)
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
    heal(place)
    place.run(16 * SECOND)
    return place


def proofs_lost_after_a_restart() -> Site:
    place = flowing()
    node = place.places[0]
    node.end.restart(place.queue.now_us)
    node.down.change((Drop(Kind.PROVE),))
    place.run(12 * SECOND)
    heal(place)
    place.run(16 * SECOND)
    return place


def host_restarts() -> Site:
    """A new host of the same number pairs with nodes that still flow."""
    place = flowing()
    place.hub = Hub(place.hub.card, Streams("again").dice("hub"))
    return paired(place)


def host_restarts_after_silence() -> Site:
    place = flowing()
    silent(place)
    place.run(9 * SECOND)
    heal(place)
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


def late_release_while_pairing_anew() -> Site:
    """A release that was long on its way comes between the offer and the proof of a new pairing."""
    place = flowing()
    watch = place.hub.seats[1].watch
    assert watch is not None
    late = watch.session.control_frame(Release(place.queue.now_us))
    place.hub.pair(1, place.queue.now_us)
    place.run(place.queue.now_us + 190_000)
    place.places[0].end.receive(late, place.queue.now_us)
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
    silent(place)
    place.hub.release(1, place.queue.now_us)
    place.run(8 * SECOND)
    return place


def released_while_lost() -> Site:
    place = flowing()
    silent(place, up=False)
    place.run(8 * SECOND)
    heal(place)
    place.hub.release(1, place.queue.now_us)
    place.run(10 * SECOND)
    return place


def recommissioned_while_flowing() -> Site:
    place = flowing()
    place.places[0].end.recommission()
    place.run(2_900_000)
    return place


def wrong_proof_after_a_restart() -> Site:
    """Somebody spoils the proof when the host pairs anew by itself; then it stops."""
    place = flowing()
    node = place.places[0]
    node.end.restart(place.queue.now_us)
    node.up.change((Change(Kind.ACCEPT, -1, b"\x55"),))
    place.run(8 * SECOND)
    heal(place)
    place.run(12 * SECOND)
    return place


def let_go_while_lost_without_a_session() -> Site:
    place = flowing()
    node = place.places[0]
    node.end.restart(place.queue.now_us)
    node.up.change((Drop(Kind.OFFER),))
    while place.step() != "lost" or place.hub.seats[1].watch is not None:
        place.run(place.queue.now_us + 50_000)
    place.hub.release(1, place.queue.now_us)
    place.run(place.queue.now_us + SECOND)
    return place


def released_while_half_lost() -> Site:
    """The node hears and turns to new keys, but nothing it says arrives; then the way up is good again."""
    place = flowing()
    silent(place, down=False)
    place.run(4 * SECOND)
    heal(place)
    place.hub.release(1, place.queue.now_us)
    place.run(8 * SECOND)
    return place


def released_before_the_host_gives_up() -> Site:
    """The node heard no beat and stopped; the host still believes in the flow when it is asked to let go."""
    place = site(settings=LinkSettings(liveness_us=2 * SECOND))
    place.add(node_card(1))
    paired(place, 2 * SECOND)
    silent(place, up=False)
    place.run(5_600_000)
    heal(place)
    place.hub.release(1, place.queue.now_us)
    place.run(9 * SECOND)
    return place
