"""What a host heard, from a run of a scenario or from a recording of one, ready for a diagnosis.

A recording holds the frames that arrived, each change of a link and what was shown; what was noted of loads
and what the host was set to stand in the scenario that it carries along.  Tags are not checked: that takes
keys, and whoever records has none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Plan
from benchsim.ground.clock import seconds
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import ClockReading, Indication, LinkState, Samples
from benchsim.host.diagnosis.hearing import Ear
from benchsim.host.diagnosis.parts import Case
from benchsim.host.overheard import Said
from benchsim.link import codec, data
from benchsim.link.frames import Echo, Kind
from benchsim.record.reader import read_recording
from benchsim.record.sightings import Sighting, Sightings
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load, load_text
from benchsim.scenario.notes import case_of

_FLOW = (int(Kind.DATA), int(Kind.REPEAT))


@dataclass(frozen=True, slots=True)
class Heard:
    """A case and what was heard of it.  title: of the scenario; span_us: what part of the run it is."""

    title: str
    case: Case
    ear: Ear
    span_us: tuple[int, int]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """What part of a run to look at.  None: from its start, up to its end."""

    from_us: int | None = None
    until_us: int | None = None

    def within(self, ends_us: int) -> tuple[int, int]:
        since_us = self.from_us or 0
        until_us = ends_us if self.until_us is None else min(self.until_us, ends_us)
        if since_us >= until_us:
            found = f"nothing lies between {seconds(since_us)} and {seconds(until_us)}"
            raise BadInput(found, f"the run goes from 0 s to {seconds(ends_us)}")
        return since_us, until_us


def heard_in_run(path: str | Path, seed: int | str | None, span: Span) -> Heard:
    """Run a scenario file and listen.  Raises BadInput and ManyBadInputs as `run` does."""
    scenario = load(path)
    own_seed = scenario.file.seed if seed is None else seed
    built = assemble(scenario, own_seed)
    cut = span.within(built.plan.lasts_us)
    bench = Bench(built.plan, built.profile, own_seed)
    said: list[Said] = []
    bench.overhear(said.append)
    bench.run(cut[1])
    ear = _ear(said, *cut)
    ear.not_taken = bench.frames_not_taken if cut == (0, built.plan.lasts_us) else {}
    case = case_of(built.plan, *cut, settings=bench.host_settings)
    return Heard(scenario.file.title, case, ear, cut)


def heard_in_recording(path: Path, span: Span) -> Heard:
    """Read a recording that keeps frames.  Raises BadInput: none, without frames, without its scenario."""
    recording = read_recording(path)
    sources = recording.head.sources
    if not sources:
        raise BadInput(f"{path} carries no scenario along", "a recording made with `benchsim run --record`")
    built = assemble(load_text(sources[0][1], sources[0][0]), recording.head.seed)
    ends_us = recording.trace.last_us()
    cut = span.within(max(ends_us, 1))
    said: list[Said] = [state for _, state in recording.trace.link_states]
    said += [recording.trace.indication(row) for row in range(len(recording.trace))]
    sightings = Sightings(path)
    said += _said(sightings, built.plan)
    return Heard(
        recording.head.title, case_of(built.plan, *cut), _ear(said, *cut), cut,
        tuple(dict.fromkeys((*recording.missing, *sightings.missing))),
    )  # fmt: skip


def _said(sightings: Sightings, plan: Plan) -> Iterator[Samples | ClockReading]:
    """What the frames that arrived at the host say, each sample once."""
    expected = {e.address for e in plan.link.expected}
    had: set[tuple[int, int, int]] = set()
    for seen in sightings:
        frame = seen.octets
        if not (seen.arrived and seen.to_host and data.whole(frame) and frame[4] in expected):
            continue
        if int.from_bytes(frame[2:4], "little") != plan.link.network:
            continue
        if frame[1] in _FLOW:
            samples, session = _samples(seen)
            if samples is not None and (samples.address, session, samples.first) not in had:
                had.add((samples.address, session, samples.first))
                yield samples
        elif frame[1] == Kind.ECHO:
            yield from _look(seen)


def _samples(seen: Sighting) -> tuple[Samples | None, int]:
    """The samples of a data or repeat frame and its session; None for one whose length does not fit."""
    frame = seen.octets
    if len(frame) < data.HEAD.size + data.FOOT_OCTETS:
        return None, 0
    _, kind, _, address, _, session, _, first, node_t_us, rows, channels = data.HEAD.unpack_from(frame)
    begin = data.HEAD.size + channels
    end = begin + 4 * rows * channels
    if end + data.FOOT_OCTETS != len(frame) or not rows or not channels:
        return None, 0
    return Samples(
        address, first, rows, channels, node_t_us, seen.t_us, frame[begin:end],
        frame[data.HEAD.size : begin], resent=kind == Kind.REPEAT,
    ), session  # fmt: skip


def _look(seen: Sighting) -> Iterator[ClockReading]:
    heard = codec.read(seen.octets)
    if isinstance(heard, codec.Frame) and isinstance(heard.message, Echo):
        trip_us = seen.t_us - heard.message.host_t_us
        middle_us = heard.message.host_t_us + trip_us // 2
        yield ClockReading(heard.header.address, middle_us, heard.message.node_t_us, trip_us)


def _ear(said: list[Said], from_us: int, until_us: int) -> Ear:
    """What was said in a span; of link states also how each stood when it began."""
    ear = Ear()
    stood: dict[int, LinkState] = {}
    for one in said:
        if isinstance(one, LinkState) and one.since_us < from_us:
            stood[one.address] = one
    for state in stood.values():
        ear(state)
    for one in said:
        t_us = _when_us(one)
        if from_us <= t_us <= until_us:
            ear(one)
    return ear


def _when_us(said: Said) -> int:
    match said:
        case Samples():
            return said.arrived_us
        case ClockReading():
            return said.host_t_us
        case LinkState():
            return said.since_us
        case Indication():
            return said.t_us
