"""What `decode` does with a recording: its frames, narrowed to those asked for, as text, JSON or pcapng.

One sighting at a time goes from the file to the output, so that the length of a run does not matter.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain
from pathlib import Path
from typing import Any

import click

from benchsim.cli.annotated import WIDTH, block, brief
from benchsim.cli.text import SIMULATED, console, counted
from benchsim.ground.clock import seconds
from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.units import TIME, parse
from benchsim.link.explain import Explained, explain
from benchsim.link.frames import Kind
from benchsim.record.export import capture_of
from benchsim.record.newfile import new_capture
from benchsim.record.pcapng import LINK_TYPE
from benchsim.record.sightings import Sighting, Sightings

KINDS = {kind.name.lower(): int(kind) for kind in Kind}
KIND_AT, ADDRESS_AT = 1, 4
"""Where these octets of the header stand in a frame."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which sightings are asked for; what is None or empty asks for all.  Both times are within."""

    since_us: int | None = None
    until_us: int | None = None
    address: int | None = None
    kinds: frozenset[int] = frozenset()
    end: str | None = None

    def fits(self, seen: Sighting) -> bool:
        """Whether it is asked for.  What arrives in the place of a frame counts as that frame, too."""
        return (
            (self.since_us is None or seen.t_us >= self.since_us)
            and (self.until_us is None or seen.t_us <= self.until_us)
            and (self.end is None or seen.at_host == (self.end == "host"))
            and (self.address is None or self.address in _octets_at(ADDRESS_AT, seen))
            and (not self.kinds or not self.kinds.isdisjoint(_octets_at(KIND_AT, seen)))
        )

    def told_before(self, seen: Sighting) -> bool:
        """Whether its fields were told already, as it set out."""
        since_us = self.since_us or 0
        return seen.arrived and not seen.changed and self.end is None and seen.sent_us >= since_us


def wanted(
    since: str | None, until: str | None, address: int | None, kinds: Iterable[str], end: str | None
) -> Wanted:
    """What is asked for in words.  Raises BadInput: no such kind, no time."""
    for word in kinds:
        if word not in KINDS:
            raise unknown("kind", word, KINDS)
    return Wanted(_time_us(since), _time_us(until), address, frozenset(KINDS[k] for k in kinds), end)


def _time_us(word: str | None) -> int | None:
    return None if word is None else int(parse(word, TIME))


def _octets_at(place: int, seen: Sighting) -> bytes:
    return seen.octets[place : place + 1] + seen.sent[place : place + 1]


def tell(path: Path, asked: Wanted, as_json: bool, without_fields: bool, out: Path | None) -> bool:
    """Print the frames asked for, or write them to `out`; whether all that were printed are good.

    Raises BadInput: it cannot be read, nothing in it is asked for, `out` cannot be written.
    """
    sightings = Sightings(path)
    chosen = _chosen(path, sightings, asked)
    chosen = chain([next(chosen)], chosen)  # so that nothing is begun when there is nothing
    if out is not None:
        _write(out, sightings, chosen)
        good = True
    else:
        good = _print_json(chosen) if as_json else _show(chosen, asked, without_fields)
    for note in sightings.missing:
        click.echo(f"{path}: {note}", err=True)
    return good


def _chosen(path: Path, sightings: Sightings, asked: Wanted) -> Iterator[Sighting]:
    """The sightings asked for, at least one."""
    seen_us: list[int] = []
    found = False
    for seen in sightings:
        if asked.fits(seen):
            found = True
            yield seen
        seen_us[1:] = [seen.t_us]
    if not found:
        lacks = "".join(f" and {note}" for note in sightings.missing)
        if not seen_us:
            raise BadInput(f"{path}: no frame in it{lacks}")
        span = f"from {seconds(seen_us[0])} to {seconds(seen_us[-1])}"
        raise BadInput(f"{path}: none of its frames is asked for{lacks}", f"it has frames {span}")


def _write(out: Path, sightings: Sightings, chosen: Iterable[Sighting]) -> None:
    """All of them, as they come."""
    packets = 0

    def counting() -> Iterator[Sighting]:
        nonlocal packets
        for seen in chosen:
            packets += 1
            yield seen

    with new_capture(out) as file:
        file.writelines(capture_of(sightings.head, counting()))
    click.echo(f"{counted(packets, 'packet')} of link type {LINK_TYPE} in {out}. {SIMULATED}")


# -- printing ------------------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def _explained(octets: bytes) -> Explained:
    """A frame in words, once for the start and the arrivals of one."""
    return explain(octets, range(len(octets)), 0)


def _show(chosen: Iterable[Sighting], asked: Wanted, without_fields: bool) -> bool:
    """For people."""
    out = console()
    found = {True: 0, False: 0}
    for seen in chosen:
        frame, where = _explained(seen.octets), f"{seen.whereabouts()}, {seen.fate()}"
        form = brief if without_fields or asked.told_before(seen) else block
        out.print(form(frame, seconds(seen.t_us), where), width=WIDTH, soft_wrap=True)
        found[frame.valid] += 1
    good, bad = found[True], found[False]
    out.print(f"{good + bad} found, read as a recording: {good} good, {bad} bad\n{SIMULATED}")
    return not bad


def _print_json(chosen: Iterable[Sighting]) -> bool:
    """One JSON document, written as it comes, a frame a line."""
    good, begin = True, '{\n  "frames": [\n    '
    for seen in chosen:
        frame = _explained(seen.octets)
        good = good and frame.valid
        click.echo(begin + json.dumps(frame.document() | _document(seen), ensure_ascii=False), nl=False)
        begin = ",\n    "
    click.echo("\n  ]\n}")
    return good


def _document(seen: Sighting) -> dict[str, Any]:
    """What JSON has beside the frame."""
    return {
        "t_us": seen.t_us,
        "node": seen.node,
        "direction": "node to host" if seen.to_host else "host to node",
        "seen": "arrived" if seen.arrived else "set out",
        "sent_us": seen.sent_us,
        "arrives": [{"t_us": t_us, "changed": not same} for t_us, same in seen.arrives],
    }
