"""The cases against hosts hold for every right host: on slow and uneven media, other settings, unattended."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest

from benchsim.ground.clock import SECOND_US
from benchsim.ground.randomness import Dice, Streams
from benchsim.link import codec
from benchsim.link.codec import Frame
from benchsim.link.parts import LinkSettings
from benchsim.link.steps import Step
from benchsim.probe import run
from benchsim.probe.case import Side, cases
from benchsim.probe.finding import Verdict
from benchsim.probe.line import SOON, Act, Until
from benchsim.probe.of_hosts.proving import SMALL_ORDER, is_worthless
from benchsim.probe.play import Result
from benchsim.probe.run import Device, run_cases
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import HostStandIn

SETTING = Setting(key=bytes(range(16)), addresses=(1, 2))
OF_HOSTS = tuple(case for case in cases(Side.HOST).values() if case.fits(SETTING))
Make = Callable[[Setting, Streams], Device]


def results(setting: Setting = SETTING, make: Make = HostStandIn, seed: int = 1) -> list[Result]:
    return list(run_cases(OF_HOSTS, setting, make, Streams(seed)))


def faulted(found: list[Result]) -> dict[str, str]:
    """The cases that find a host not conforming, and why."""
    return {r.case.id: r.why for r in found if r.verdict is Verdict.NOT_CONFORMING}


def not_reached(found: list[Result]) -> dict[str, str]:
    return {r.case.id: r.why for r in found if r.verdict is Verdict.NOT_REACHED}


def test_there_is_a_case_for_each_thing_a_host_must_do_and_all_take_two_and_a_half_minutes() -> None:
    found = results()
    assert len(found) >= 36
    assert all(c.purpose.endswith(".") and c.section for c in OF_HOSTS)
    assert sum(r.said[-1].t_us for r in found) < 150 * SECOND_US


def test_hosts_that_were_told_of_their_nodes_conform_and_are_asked_about_it() -> None:
    setting = replace(SETTING, sealed=bytes(range(8)), rate_hz=100)
    asked = [c for c in cases(Side.HOST).values() if c.told or "another-" in c.id or "right-node" in c.id]
    found = list(run_cases(asked, setting, HostStandIn, Streams(1)))
    assert (faulted(found), not_reached(found)) == ({}, {})
    assert [c.told for c in asked if c.told] == ["sealed", "rate_hz"]
    slow = cases(Side.HOST)["host-a-slow-node-is-not-lost-between-its-frames"]
    assert (slow.fits(SETTING), slow.fits(setting)) == (True, False)
    untold = list(run_cases(asked[:4], SETTING, HostStandIn, Streams(1)))
    assert all("it was told no" in why for why in not_reached(untold).values())


@pytest.mark.parametrize("transit_us", [20_000, 49_000])
def test_a_slow_medium_spoils_no_verdict(monkeypatch: pytest.MonkeyPatch, transit_us: int) -> None:
    monkeypatch.setattr(run, "TRANSIT_US", transit_us)
    found = results()
    assert (faulted(found), not_reached(found)) == ({}, {})


class Uneven:
    """A time on the way that is another for each frame; added to a time it keeps the order of frames."""

    def __init__(self, dice: Dice, most_us: int) -> None:
        self._dice, self._most_us, self._latest_us = dice, most_us, 0

    def __radd__(self, now_us: int) -> int:
        if now_us < self._latest_us - self._most_us:
            self._latest_us = 0  # another case has begun
        self._latest_us = max(self._latest_us, now_us + self._dice.below(self._most_us))
        return self._latest_us


@pytest.mark.parametrize("seed", [1, 2])
def test_an_uneven_medium_spoils_no_verdict(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    monkeypatch.setattr(run, "TRANSIT_US", Uneven(Streams(seed).dice("medium"), SETTING.patience_us))
    found = results(seed=seed)
    assert (faulted(found), not_reached(found)) == ({}, {})


OTHERS = {
    "one sample a frame": replace(SETTING, settings=LinkSettings(samples_per_frame=1)),
    "80 samples a frame": replace(SETTING, settings=LinkSettings(samples_per_frame=80)),
    "two tries": replace(SETTING, settings=LinkSettings(tries=2)),
    "nine tries": replace(SETTING, settings=LinkSettings(tries=9)),
    "patient": replace(SETTING, settings=LinkSettings(liveness_us=5_000_000, answer_timeout_us=2_000_000)),
    "hasty": replace(SETTING, settings=LinkSettings(10, 100_000, 50_000, 150_000, 200_000, 3)),
    "seldom beats": replace(SETTING, settings=LinkSettings(beat_us=20_000_000)),
    "long window": replace(SETTING, settings=LinkSettings(offer_window_us=1_000_000)),
    "one cell": replace(SETTING, cells=1),
    "other addresses": replace(SETTING, addresses=(16, 3, 7)),
}


def test_a_host_that_asks_once_is_not_faulted_for_asking_no_more() -> None:
    found = results(replace(SETTING, settings=LinkSettings(tries=1)))
    assert faulted(found) == {}
    assert all("try" in why or "tries" in why or "once" in why for why in not_reached(found).values())


@pytest.mark.parametrize("name", OTHERS)
def test_right_hosts_with_other_settings_conform(name: str) -> None:
    found = results(OTHERS[name])
    assert faulted(found) == {}
    assert len(not_reached(found)) <= 4


def test_a_medium_too_slow_for_the_settings_is_told_as_not_reached() -> None:
    hasty = LinkSettings(offer_window_us=20_000, answer_timeout_us=20_000)
    found = results(replace(SETTING, settings=hasty))
    assert faulted(found) == {}
    assert any("offer window is too short" in why for why in not_reached(found).values())
    assert any("answer timeout is too short" in why for why in not_reached(found).values())


class TellsNothing(HostStandIn):
    """Can be asked to pair, but shows no states."""

    def act(self, text: str, now_us: int) -> str | None:
        return None if text.startswith("state") else super().act(text, now_us)


def test_a_host_that_tells_no_states_conforms() -> None:
    found = results(make=TellsNothing)
    assert (faulted(found), not_reached(found)) == ({}, {})


class Unattended(HostStandIn):
    """Nobody is there: it pairs by itself, some time after it has failed."""

    def act(self, text: str, now_us: int) -> str | None:
        return None

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        for seat in self.hub.seats.values():
            failed_us = seat.state.since_us or 0
            if seat.step is Step.IDLE or (seat.step is Step.FAILED and now_us >= failed_us + 2 * SECOND_US):
                self.hub.pair(seat.address, now_us)
        frames, next_us = super().due(now_us)
        return frames, min(now_us + SECOND_US, next_us or now_us + SECOND_US)


def test_a_host_that_nobody_attends_is_never_faulted() -> None:
    found = results(make=Unattended)
    assert faulted(found) == {}
    assert len(not_reached(found)) < len(found) // 4


class SlowTable(run._Table):
    """Whoever attends the host is slow.  before_us, after_us: until an act is done, then until word comes."""

    before_us = after_us = 0
    word: str | None = None
    _busy = False

    def _look(self, now_us: int) -> None:
        self._send(now_us)
        waits = self._play.waits_for
        if isinstance(waits, Until):
            self._play_wakes.at(waits.t_us)
        elif isinstance(waits, Act) and not self._busy:
            self._busy = True
            if waits.text.startswith("state"):
                self._queue.put(now_us, partial(self._told, None))
                return
            self._queue.put(now_us + self.before_us, partial(self._does, waits.text))
            self._queue.put(now_us + self.before_us + self.after_us, partial(self._told, self.word or "done"))

    def _does(self, text: str, now_us: int) -> None:
        self._device.act(text, now_us)
        self._send(now_us)

    def _told(self, answer: str | None, now_us: int) -> None:
        self._busy = False
        self._play.acted(answer, now_us)
        self._look(now_us)


@pytest.mark.parametrize(
    ("before_us", "after_us", "word", "reached"),
    [
        (2_000_000, 0, None, 100),
        (2_000_000, 120_000, None, 100),
        (2_000_000, 700_000, None, 80),
        (2_000_000, 3_000_000, None, 0),
        (4_000_000, -4_000_000, SOON, 100),
    ],
)
def test_a_slow_attendant_makes_no_host_fail(
    before_us: int, after_us: int, word: str | None, reached: int
) -> None:
    found = []
    for case in OF_HOSTS:
        if word == SOON and "restart" in case.id:
            continue  # nothing shows on the wire when it is done: a person says so afterwards
        table = SlowTable(case, SETTING, HostStandIn, Streams(1).child(case.id))
        table.before_us, table.after_us, table.word = before_us, after_us, word
        found.append(table.run())
    assert faulted(found) == {}
    assert len(found) - len(not_reached(found)) >= reached


class Kept:
    """One host for all cases, as behind a real medium: each case finds it as the one before left it."""

    def __init__(self) -> None:
        self._host: HostStandIn | None = None
        self._now_us = self._ahead_us = 0

    def __call__(self, setting: Setting, streams: Streams) -> Kept:
        if self._host is None:
            self._host = HostStandIn(setting, streams)
        self._ahead_us = self._now_us
        return self

    def _time(self, now_us: int) -> int:
        self._now_us = max(self._now_us, self._ahead_us + now_us)
        return self._now_us

    def receive(self, frame: bytes, now_us: int) -> None:
        assert self._host is not None
        self._host.receive(frame, self._time(now_us))

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        assert self._host is not None
        frames, next_us = self._host.due(self._time(now_us))
        return frames, None if next_us is None else max(now_us, next_us - self._ahead_us)

    def act(self, text: str, now_us: int) -> str | None:
        assert self._host is not None
        return self._host.act(text, self._time(now_us))


def test_cases_find_a_host_as_the_one_before_left_it() -> None:
    found = results(make=Kept())
    assert (faulted(found), not_reached(found)) == ({}, {})


class Garbled(HostStandIn):
    """Now and then says a frame with another octet in it, and a CRC that fits again."""

    def __init__(self, setting: Setting, streams: Streams) -> None:
        super().__init__(setting, streams)
        self._odd = streams.dice("odd")

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        frames, next_us = super().due(now_us)
        return [self._garble(f) for f in frames], next_us

    def _garble(self, frame: bytes) -> bytes:
        if self._odd.below(4):
            return frame
        body = bytearray(frame[:-4])
        body[self._odd.below(len(body))] = self._odd.below(256)
        return codec.seal(bytes(body))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_whatever_a_host_says_a_case_comes_to_a_verdict(seed: int) -> None:
    found = results(make=Garbled, seed=seed)
    assert len(faulted(found)) > len(found) // 2
    assert all(r.at is not None for r in found if r.verdict is Verdict.NOT_CONFORMING)


class Mute:
    """A host that never says anything."""

    def receive(self, frame: bytes, now_us: int) -> None:
        return

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        return [], None

    def act(self, text: str, now_us: int) -> str | None:
        return None


def test_a_host_that_says_nothing_is_not_reached_by_any_case() -> None:
    found = results(make=lambda _setting, _streams: Mute())
    assert {r.verdict for r in found} == {Verdict.NOT_REACHED}


def test_the_public_values_of_small_order_are_refused_by_another_implementation_too() -> None:
    # RFC 7748, section 6.1; the cryptography package raises for them.
    assert all(is_worthless(public) for public in SMALL_ORDER)
    assert not is_worthless(bytes([9]) + bytes(31))


def test_every_finding_points_at_a_frame_that_can_be_read() -> None:
    for result in results(make=Garbled, seed=4):
        if result.at is not None:
            assert isinstance(codec.read(result.said[result.at].octets), Frame | codec.Bad)
