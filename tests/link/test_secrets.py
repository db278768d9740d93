"""No key, private value, shared secret or session secret is in any frame, state, log or recording."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest
from mcap.reader import make_reader

from benchsim.ground.library import shipped
from benchsim.scenario.build import assemble
from benchsim.scenario.equipment import pairing_key
from benchsim.scenario.loader import load
from benchsim.scenario.run import run
from tests.link.secrets import overheard, shapes, shown
from tests.link.site import KEY, Site
from tests.link.stories import STORIES


def _printed(place: Site) -> str:
    """Whatever a careless line of a log could print of both ends."""
    seats = [vars(seat) for seat in place.hub.seats.values()]
    ends = [vars(p.end) for p in place.places]
    watches = [vars(s.watch) for s in place.hub.seats.values() if s.watch is not None]
    return repr([place.hub.card, vars(place.hub), place.states, place.samples, seats, ends, watches])


def test_no_story_of_both_ends_shows_a_secret(caplog: pytest.LogCaptureFixture) -> None:
    """Whatever a session's keys were made of, in octets either way round or in hexadecimal."""
    caplog.set_level(logging.DEBUG)
    made_in_all = 0
    for name, story in STORIES.items():
        with overheard() as made:
            place = story()
        secrets = {KEY, *made}
        made_in_all += len(made)
        assert all(len(secret) >= 16 for secret in secrets)
        wire = b"\0".join(frame for _, _, frame in place.wire)
        assert shown(secrets, wire) == [], name
        assert shown(secrets, _printed(place).encode()) == [], name
        assert shown(secrets, caplog.text.encode()) == [], name
    assert made_in_all > 500


def test_a_secret_that_is_shown_is_found() -> None:
    """The search itself: in each shape that it looks for, and in what the ends keep to themselves."""
    secret = bytes(range(100, 132))
    for shape in shapes(secret):
        assert shown([secret], b"before" + shape + b"after") == [secret]
    assert shown([secret], secret[1:]) == []
    with overheard() as made:
        place = STORIES["all_well"]()
    watch = place.hub.seats[1].watch
    assert watch is not None
    assert {
        watch.session.secret,
        watch.session.out.key,
        watch.session.into.key,
        watch.session.resume.key,
    } < made


@pytest.mark.parametrize("name", ["stranger-in-hearing", "node-drops-out"])
def test_no_recording_and_no_verdict_of_a_run_shows_a_secret(name: str, tmp_path: Path) -> None:
    path = shipped("scenarios") / f"{name}.yaml"
    file = tmp_path / "run.mcap"
    with overheard() as made:
        result = run(path, record=file)
    built = assemble(load(path))
    secrets = {*made, *(n.card.key for n in built.plan.nodes), built.plan.link.key}
    assert pairing_key("benchsim") in secrets or name == "stranger-in-hearing"
    assert len(made) > 20
    with file.open("rb") as stream:
        kept = [(c.topic, m.data) for _, c, m in make_reader(stream).iter_messages()]
    assert len({topic for topic, _ in kept}) >= 4
    told = repr([result.trace.events, result.trace.link_states, [(v.name, v.found) for v in result.verdicts]])
    assert shown(secrets, b"\0".join([file.read_bytes(), told.encode(), *(data for _, data in kept)])) == []
