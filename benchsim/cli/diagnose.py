"""The verb `diagnose`: what a scale's host heard, to the likeliest causes with the evidence for each.

It looks at what a host has and at the notes of what was done at the scale, never at the truth.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from benchsim.host.diagnosis.parts import Cause, Diagnosis, Place
    from benchsim.scenario.heard import Heard

EVIDENCE_SHOWN = 4


@click.command()
@click.argument("source", metavar="FILE|NAME|RECORDING")
@click.option("--seed", metavar="N", help="Of a scenario: instead of its own.")
@click.option("--from", "since", metavar="TIME", help="Look at nothing before it, as '12.5 s'.")
@click.option("--until", metavar="TIME", help="Look at nothing after it.")
@click.option("--most", type=click.IntRange(1, 20), default=3, metavar="N", help="Causes named; default 3.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def diagnose(
    source: str, seed: str | None, since: str | None, until: str | None, most: int, as_json: bool
) -> None:
    """Name the likeliest causes of what a scale does, from what its host heard.

    Takes a scenario file, the NAME of one that ships, or a recording with frames. A scale tells most when it
    is seen empty, then with a known load near each cell in turn, then with more in the middle, and empty
    again. Exit code 0: nothing stands out; 1: something does; 2: bad input.
    """
    from benchsim.cli.text import print_json
    from benchsim.host.diagnosis.diagnose import diagnose as judge

    heard = _heard(source, seed, since, until)
    hearing = heard.ear.hearing(heard.case.addresses, heard.case.rate_hz)
    found = judge(heard.case, hearing, most=most)
    if as_json:
        print_json(_document(source, heard, found))
    else:
        _show(source, heard, found)
    for note in heard.missing:
        click.echo(f"{source}: {note}", err=True)
    raise SystemExit(0 if found.healthy else 1)


def _heard(source: str, seed: str | None, since: str | None, until: str | None) -> Heard:
    from benchsim.cli.decode import is_recording
    from benchsim.ground.units import TIME, parse
    from benchsim.scenario.heard import Span, heard_in_recording, heard_in_run
    from benchsim.scenario.loader import seed_of

    from_us, until_us = (None if word is None else int(parse(word, TIME)) for word in (since, until))
    span = Span(from_us, until_us)
    if is_recording(source):
        if seed is not None:
            raise click.UsageError("--seed is for a scenario; a recording has its own")
        return heard_in_recording(Path(source), span)
    return heard_in_run(source, None if seed is None else seed_of(seed, "--seed"), span)


def _apart(found: Diagnosis) -> list[Place]:
    """Cells and nodes that stand out, most of all first."""
    return sorted((place for place in found.places if place.loud), key=lambda place: -place.size)


def _document(source: str, heard: Heard, found: Diagnosis) -> dict[str, Any]:
    return {
        "source": source,
        "title": heard.title,
        "from_s": heard.span_us[0] / 1e6,
        "until_s": heard.span_us[1] / 1e6,
        "healthy": found.healthy,
        "causes": [
            {
                "fault": cause.name,
                "target": cause.target,
                "share": round(cause.share, 4),
                "log_odds": round(cause.log_odds, 2),
                "evidence": [
                    {
                        "sign": e.sign.name,
                        "found": e.sign.word,
                        "log_odds": round(e.log_odds, 2),
                        "text": e.sign.text,
                    }
                    for e in cause.evidence
                ],
            }
            for cause in found.causes
        ],
        "stands_out": [
            {"place": f"{place.what} {place.number}", "signs": [s.text for s in place.loud]}
            for place in _apart(found)
        ],
        "not_told": list(found.gaps),
    }


def _show(source: str, heard: Heard, found: Diagnosis) -> None:
    from rich.text import Text

    from benchsim.cli.text import SIMULATED, console, facts
    from benchsim.ground.clock import seconds

    out = console()
    begin, end = map(seconds, heard.span_us)
    out.print(
        Text.assemble((heard.title, "bold"), f"\n{source}, as its host heard it from {begin} to {end}\n")
    )
    places = _apart(found)
    if found.healthy:
        why = "no fault that is known explains what does" if places else "nothing stands out"
        out.print(f"Healthy, as far as it was tried: {why}.\n")
    for rank, cause in enumerate(found.causes, 1):
        share = f"{cause.share:.0%}" if cause.share >= 0.01 else "under 1%"
        odds = f"{share} of all faults known, log-odds {cause.log_odds:+.1f} against a healthy scale"
        out.print(Text.assemble((f"{rank}. {cause.name} on {cause.target}", "bold"), f": {odds}"))
        out.print(facts(_facts(cause, found.causes[rank] if rank < len(found.causes) else None)))
        out.print()
    if places:
        out.print(Text("What stands out", "bold"))
        out.print(facts((f"  {p.what} {p.number}", "; ".join(s.text for s in p.loud)) for p in places))
        out.print()
    for gap in found.gaps:
        out.print(f"Not told: {gap}")
    out.print(SIMULATED)


def _facts(cause: Cause, after: Cause | None) -> list[tuple[str, str]]:
    """For it, against it, how to make sure, and what tells it from the next."""
    from benchsim.faults.fault import entry_of

    entry = entry_of(cause.name)
    speak = [e for e in cause.evidence if e.log_odds > 0.1][:EVIDENCE_SHOWN]
    against = [e for e in cause.evidence if e.log_odds < -0.1][-1:]
    rows = [("   for it" if e is speak[0] else "", f"{e.log_odds:+5.1f}  {e.sign.text}") for e in speak]
    rows += [("   against", f"{e.log_odds:+5.1f}  {e.sign.text}") for e in against]
    rows.append(("   it would", entry.seen))
    rows.append(("   make sure", entry.confirm))
    if after is not None:
        rows.append(("   else", f"if that finds nothing, {after.name}: {entry_of(after.name).confirm}"))
    if entry.caution:
        rows.append(("   caution", entry.caution))
    return rows
