"""The verb `decode`: captured octets of the node link as frames, field by field, and why a bad one is bad."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from benchsim.link.explain import Explained
    from benchsim.record.pcapng import Capture

LONGEST_NAME = 60
DIGITS = re.compile(r"(?=.*[0-9a-fA-F])[0-9a-fA-FxX:,;\-\s]+", re.DOTALL)
LARGEST = 64 * 1024 * 1024
RECORDING = b"\x89MCAP0\r\n"
CAN_BE_READ = "raw octets, hexadecimal text, a dump of it, pcapng and recordings can be read"


@click.command()
@click.argument("source", metavar="FILE|HEX|-")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.option("--from", "since", metavar="TIME", help="Of a recording: nothing before it, as '12.5 s'.")
@click.option("--until", metavar="TIME", help="Of a recording: nothing after it.")
@click.option("--address", type=click.IntRange(1, 16), metavar="N", help="Of a recording: only this address.")
@click.option(
    "--kind", "kinds", multiple=True, metavar="NAME", help="Of a recording: only this kind; again for more."
)
@click.option(
    "--at",
    "end",
    type=click.Choice(["host", "node"]),
    help="Of a recording: only what this end sent and heard.",
)
@click.option("--brief", is_flag=True, help="Of a recording: print no fields.")
@click.option(
    "--pcapng",
    "out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="OUT",
    help="Of a recording: write the frames to OUT, do not print them.",
)
def decode(source: str, as_json: bool, brief: bool, out: Path | None, **asked: Any) -> None:
    """Explain captured octets of the node link: each frame field by field, and why a bad one is bad.

    Takes a file, hexadecimal digits, or - for what comes on stdin; raw octets, hexadecimal text, a dump of it
    or pcapng, a COBS stream or bare datagrams: what it is shows by its content. So does a recording: it has
    each frame as it set out, with what became of it, and as it arrived, and counts octets from the first one
    of each. Tags are not checked: that takes keys. Exit code 0 when all frames are good, 1 when one is bad, 2
    when nothing can be read.
    """
    if is_recording(source):
        from benchsim.cli import recorded

        if as_json + brief + (out is not None) > 1:
            raise click.UsageError("--json, --brief and --pcapng are three ways to tell: choose one")
        good = recorded.tell(Path(source), recorded.wanted(**asked), as_json, brief, out)
    else:
        if brief or out is not None or any(asked.values()):
            raise click.UsageError("all options but --json are for recordings, and this is none")
        good = _tell(source, as_json)
    raise SystemExit(0 if good else 1)


def _tell(source: str, as_json: bool) -> bool:
    """Print what a capture holds; whether all of it is good."""
    from benchsim.cli.text import print_json

    read = _read(source)
    for note in read.notes:
        click.echo(note, err=True)
    if as_json:
        print_json({"frames": [frame.document() for frame, _, _ in read.frames]})
    else:
        _show(read)
    return all(frame.valid for frame, _, _ in read.frames)


# -- what there is to read -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Read:
    """Frames, each with two things that the container says of it: which one it is, and where it was seen.

    framing: how they were read.  notes: what is missing.
    """

    frames: tuple[tuple[Explained, str, str], ...]
    framing: str
    notes: tuple[str, ...] = ()


def _read(source: str) -> _Read:
    """The frames of a source.  Raises BadInput for what cannot be read, or has none."""
    from benchsim.ground.errors import BadInput, Place

    octets, name = _octets(source)
    try:
        if len(octets) > LARGEST:
            raise BadInput(f"more than {LARGEST} octets", "cut it into parts")
        read = _read_octets(octets)
        if not read.frames:
            raise BadInput(" and ".join([*read.notes, "no frame in it"]), CAN_BE_READ)
    except BadInput as error:
        raise error.at(Place(name)) from None
    return read


def is_recording(source: str) -> bool:
    """Whether this names a file that begins as recordings do."""
    try:
        with Path(source).open("rb") as file:
            return file.read(len(RECORDING)) == RECORDING
    except (OSError, ValueError):
        return False


def _octets(source: str) -> tuple[bytes, str]:
    """The content of stdin or of a file, or the digits themselves; and what messages call it."""
    from benchsim.ground.errors import BadInput

    if source == "-":
        return sys.stdin.buffer.read(LARGEST + 1), "stdin"
    try:
        with Path(source).open("rb") as file:
            return file.read(LARGEST + 1), source
    except (OSError, ValueError) as error:
        if DIGITS.fullmatch(source):
            short = source if len(source) <= LONGEST_NAME else f"{source[:LONGEST_NAME]}..."
            return source.encode(), short
        why = getattr(error, "strerror", None) or error
        raise BadInput(f"{source}: {why}", "name a file, or write hexadecimal digits") from None


def _read_octets(octets: bytes) -> _Read:
    from benchsim.ground.errors import BadInput
    from benchsim.link.capture import frames_in, frames_in_lines
    from benchsim.link.hextext import is_text, octets_of_lines
    from benchsim.record import pcapng

    if not octets:
        raise BadInput("it is empty", CAN_BE_READ)
    if octets.startswith(RECORDING):
        raise BadInput("a recording", "name its file: it is read a piece at a time")
    if pcapng.is_pcapng(octets):
        return _read_pcapng(pcapng.read(octets))
    found = frames_in_lines(octets_of_lines(octets.decode("ascii"))) if is_text(octets) else frames_in(octets)
    return _Read(tuple((frame, "", "") for frame in found.frames), found.framing)


def _read_pcapng(capture: Capture) -> _Read:
    """Packets of private link types; others are counted and left out."""
    from benchsim.cli.text import counted
    from benchsim.ground.clock import seconds
    from benchsim.link.capture import frames_in

    frames: list[tuple[Explained, str, str]] = []
    left_out: dict[int, int] = {}
    notes = list(capture.notes)
    for number, packet in enumerate(capture.packets, 1):
        if not packet.private:
            left_out[packet.link_type] = left_out.get(packet.link_type, 0) + 1
            continue
        found = frames_in(packet.data, packet.offset)
        when = f", {seconds(packet.t_us)}" if packet.t_us is not None else ""
        where = ", ".join(filter(None, (packet.interface, packet.comment)))
        frames += ((frame, f"packet {number}{when}", where) for frame in found.frames)
        if packet.octets > len(packet.data):
            part = f"{len(packet.data)} of {packet.octets} octets"
            notes.append(f"packet {number} was captured only in part: {part}")
    for link_type, count in left_out.items():
        few = counted(count, "packet")
        notes.append(f"left out: {few} of link type {link_type}; only private types carry bare frames")
    return _Read(tuple(frames), "pcapng", tuple(notes))


# -- for people ----------------------------------------------------------------------------------------


def _show(read: _Read) -> None:
    from benchsim.cli.annotated import WIDTH, block
    from benchsim.cli.text import console

    out = console()
    for frame, label, where in read.frames:
        out.print(block(frame, label, where), width=WIDTH, soft_wrap=True)
    bad = sum(not frame.valid for frame, _, _ in read.frames)
    total = len(read.frames)
    out.print(f"{total} found, read as {read.framing}: {total - bad} good, {bad} bad")
