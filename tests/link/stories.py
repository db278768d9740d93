"""All stories of hosts and nodes by name, and sites whose ends stand in a given step.

The tests look at how each story ends; one test plays them all and wants every line of both step tables used.
"""

from __future__ import annotations

from collections.abc import Callable

from benchsim.link.frames import Kind
from tests.link import flow_stories, pairing_stories
from tests.link.flow_stories import released
from tests.link.meddling import SECOND, Drop, heal, silent
from tests.link.pairing_stories import fewer_channels
from tests.link.site import Site, flowing, node_card, site


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
            silent(place)
            place.hub.release(1, place.queue.now_us)
            place.run(place.queue.now_us + 10_000)
        case "released":
            place = released()
        case "lost":
            place = flowing()
            silent(place)
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
            silent(place)
            place.run(9 * SECOND)
            return place
    return flowing()


def _asked_from(step: str, ask: str) -> Callable[[], Site]:
    def story() -> Site:
        place = host_in(step)
        heal(place)
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
    name: story
    for module in (pairing_stories, flow_stories)
    for name, story in vars(module).items()
    if getattr(story, "__module__", "") == module.__name__
}
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
