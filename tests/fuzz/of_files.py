"""Targets for files: scenarios, rule profiles, recordings."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

from mcap.writer import CompressionType, Writer

from benchsim.ground.errors import BenchsimError
from benchsim.ground.library import profiles_folder, shipped
from benchsim.record import container, export, frames, pcapng, reader, sightings, walker
from benchsim.record.export import capture_of
from benchsim.record.reader import read_recording
from benchsim.record.sightings import Sightings
from benchsim.rules import kinds, layers, places, profile, schema
from benchsim.scenario import build, equipment, layout, loader, salvage, stack, text, timeline, wording
from benchsim.scenario import quantities as scenario_quantities
from tests.fuzz.of_words import UNITS, words_of
from tests.fuzz.pieces import Pieces, Target
from tests.nested import replaced, ways
from tests.record.runs import head

NAME = "s.yaml"


def refused(error: BenchsimError, name: str) -> None:
    """Each line of a refusal begins with the file's name."""
    assert all(line.startswith(name) for line in str(error).splitlines() if line)


def a_scenario(octets: bytes) -> None:
    """A scenario's text is built, or refused with places."""
    try:
        build.assemble(loader.load_text(words_of(octets), NAME))
    except BenchsimError as error:
        refused(error, NAME)


@cache
def documents() -> tuple[Any, ...]:
    """The values of the shipped scenarios."""
    found = sorted(shipped("scenarios").glob("*.yaml"))
    return tuple(text.read(path.read_text("utf-8"), path.name)[0] for path in found)


def scenario_values(octets: bytes) -> None:
    """A shipped scenario with some of its values replaced by others' or by what the octets spell."""
    pieces = Pieces(octets)
    all_documents = documents()
    document = all_documents[pieces.number() % len(all_documents)]
    for _ in range(4):
        if not pieces:
            break
        every = list(ways(document))
        way = every[pieces.number(2) % len(every)]
        spelt = words_of(pieces.some())
        try:
            new = json.loads(spelt)
        except (ValueError, RecursionError):
            new = spelt
        document = replaced(document, way, new)
    a_scenario(json.dumps(document, ensure_ascii=False).encode("utf-8", "replace"))


def a_profile(octets: bytes) -> None:
    """A rule profile is read, or refused with places."""
    try:
        profile.read_profile(words_of(octets), "p", "p.toml")
    except BenchsimError as error:
        refused(error, "p.toml")


@cache
def _shipped_profile() -> str:
    return (profiles_folder() / "r76-iii.toml").read_text("utf-8")


def profile_lines(octets: bytes) -> None:
    """A shipped rule profile with some of its lines replaced."""
    pieces, lines = Pieces(octets), _shipped_profile().splitlines()
    for _ in range(4):
        if pieces:
            number = pieces.number() % len(lines)
            lines[number] = words_of(pieces.some())
    a_profile("\n".join(lines).encode("utf-8", "replace"))


@cache
def _scratch() -> Path:
    return Path(tempfile.mkdtemp(prefix="recordings-")) / "r.mcap"


def a_recording(octets: bytes) -> None:
    """A recording's file is read as far as it goes, or refused; what it gives can be asked."""
    path = _scratch()
    path.write_bytes(octets)
    try:
        read = read_recording(path)
    except BenchsimError as error:
        refused(error, str(path))
        return
    trace = read.trace
    columns = trace.columns()
    assert len(columns.t_us) == len(trace)
    for t_us in columns.t_us[:3].tolist():
        trace.indication_at(t_us)
    assert all(sentence.isprintable() for sentence in read.missing)
    assert read.complete == (not read.missing)


def its_frames(octets: bytes) -> None:
    """The frames of a recording's file, as decode tells and exports them."""
    path = _scratch()
    path.write_bytes(octets)
    seen = Sightings(path)
    try:
        found = list(seen)
    except BenchsimError as error:
        refused(error, str(path))
        return
    assert all(isinstance(one.fate(), str) and one.whereabouts() for one in found)
    exported = pcapng.read(b"".join(capture_of(seen.head, found)))
    assert [packet.data for packet in exported.packets] == [one.octets for one in found]
    assert exported.notes == ()


def frames_block(octets: bytes) -> None:
    """A block of frames is refused, or what it says comes back the same."""
    pieces = Pieces(octets)
    ways = pieces.number()
    try:
        rows = frames.decode_frames(pieces.rest(), ways)
    except ValueError:
        return
    assert frames.decode_frames(frames.encode_frames(rows), ways) == rows


def recording_content(octets: bytes) -> None:
    """A sound container with any messages in it, and with any texts in its head and its tail."""
    pieces, file = Pieces(octets), BytesIO()
    writer = Writer(file, compression=CompressionType.NONE)
    writer.start(profile=container.PROFILE, library="x")
    made = head(depth=container.FRAMES, nodes=("one", "two")).metadata()
    keys = sorted(made)
    for _ in range(pieces.number() % 4):
        key = keys[pieces.number() % len(keys)]
        made[key] = words_of(pieces.some())
    writer.add_metadata(container.HEAD, made)
    channels = []
    for stream in container.streams(4, container.FRAMES):
        schema = writer.register_schema(stream.schema, stream.schema_encoding, stream.schema_data)
        channels.append(writer.register_channel(stream.topic, stream.message_encoding, schema))
    at_ns = 0
    while pieces:
        how = pieces.number()
        at_ns += pieces.number() << 24
        if how & 8:
            writer.add_metadata(container.TAIL, {"ended_us": words_of(pieces.some()), "rows": "1"})
            continue
        writer.add_message(channels[4 if how & 16 else how & 3], at_ns, pieces.some(), at_ns)
        if how & 4:
            writer.flush()  # type: ignore[no-untyped-call]
    writer.finish()  # type: ignore[no-untyped-call]
    a_recording(file.getvalue())
    its_frames(file.getvalue())


def _keys(made: Any) -> Iterator[str]:
    if isinstance(made, dict):
        for name, inner in made.items():
            yield str(name)
            yield from _keys(inner)
    elif isinstance(made, list):
        for inner in made:
            yield from _keys(inner)


def _scenario_words() -> tuple[str, ...]:
    values = {json.dumps(v) for d in documents() for v in _keys(d)}
    return tuple(sorted({w.strip('"') + ": " for w in values} | set(UNITS)))


TARGETS = {
    "scenario": Target(
        a_scenario,
        (text, loader, wording),
        ("text._Reader._scalar", "text._Plain.value", "salvage.rest_of", "build.judged"),
        _scenario_words(),
        longest=2500,
    ),
    "scenario-values": Target(
        scenario_values,
        (build, layout, equipment, stack, timeline, scenario_quantities, salvage),
        ("salvage.rest_of", "stack.ways_of", "timeline.commands_of"),
        UNITS,
        longest=300,
    ),
    "profile": Target(
        a_profile,
        (profile, layers, places, kinds),
        ("places.Places.of", "places.parse_error_place", "profile._taken", "layers._Reader.judge_steps"),
        tuple(f"{key.name} = " for key in schema.KEYS),
        longest=9000,
    ),
    "profile-lines": Target(
        profile_lines, (layers, places, kinds), ("kinds._read_bands", "places.Places.of"), longest=300
    ),
    "recording": Target(
        a_recording,
        (walker, reader, container),
        ("walker.Walker._chunk", "container.decode_columns"),
        longest=9000,
    ),
    "recording-frames": Target(
        frames_block, (frames,), ("frames.encode_frames", "frames._Source.octets"), longest=1000
    ),
    "recording-content": Target(
        recording_content,
        (walker, reader, container, sightings, export),
        (
            "frames.decode_frames",
            "export.capture_of",
            *(f"container.decode_{what}" for what in ("columns", "events", "links", "reasons")),
        ),
        longest=1500,
    ),
}
