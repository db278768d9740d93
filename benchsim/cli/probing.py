"""What the verb `probe` does once its options are read: plays, tells as it goes, and sums up."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import threading
from collections.abc import Iterable, Sequence
from functools import partial
from typing import Any

import rich_click as click
from rich.text import Text

from benchsim.cli.annotated import WIDTH, block
from benchsim.cli.text import console, counted, print_json, print_table
from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Streams
from benchsim.link.explain import explain
from benchsim.probe.attendant import Attendant, Nobody, Person, started
from benchsim.probe.case import Case, Side
from benchsim.probe.device import called, stand_in
from benchsim.probe.finding import Verdict
from benchsim.probe.live import Attend, play_all
from benchsim.probe.play import Result
from benchsim.probe.report import around, document, junit, passed, who
from benchsim.probe.run import run_cases
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import HostStandIn, NodesStandIn
from benchsim.serve.live import Connection

AT = "{at}"  # in an attendant's command: where the probe listens
STYLES = {
    Verdict.CONFORMING: ("ok", "green"),
    Verdict.NOT_CONFORMING: ("NOT", "bold red"),
    Verdict.NOT_REACHED: ("-", "yellow"),
}
OCTETS_SHOWN = 14
NO_APPROVAL = "A verdict on software; the weights are simulated, and it approves no instrument."
MAKERS = {Side.HOST: HostStandIn, Side.NODE: NodesStandIn}


def list_cases(picked: Sequence[Case], as_json: bool) -> None:
    """What would be played."""
    if as_json:
        print_json([{"id": c.id, "purpose": c.purpose, "section": c.section} for c in picked])
        return
    print_table(("case", "section", "purpose"), [(c.id, c.section, c.purpose) for c in picked])


def play_self(picked: Sequence[Case], setting: Setting, options: dict[str, Any]) -> list[Result]:
    """The cases against the built-in end."""
    side = picked[0].side
    streams = Streams(options["seed"])
    return _told(run_cases(picked, setting, MAKERS[side], streams), options)


def play_live(picked: Sequence[Case], setting: Setting, options: dict[str, Any]) -> list[Result]:
    """The cases against a device elsewhere.  Raises BadInput."""
    return asyncio.run(_play_live(picked, setting, options))


async def _play_live(picked: Sequence[Case], setting: Setting, options: dict[str, Any]) -> list[Result]:
    from benchsim.serve.carrier import check_reach, make_carrier
    from benchsim.serve.carriers.medium import Side as End

    place, command = options["place"], options["attendant"]
    attendant: Attendant = Nobody()
    if options["ask_me"]:
        attendant = Person(lambda line: click.echo(line, nl=False, err=True), Typed().line)
    elif command and AT not in command:
        attendant = program = await started(command)
        place = place or program.place
    attend: Attend = (
        partial(_start_there, command) if command and AT in command else partial(_there, attendant)
    )
    results = []
    try:
        if not place:
            raise BadInput("the attendant does not say where the device is", "name it with --at PLACE")
        end = End.NODES if picked[0].side is Side.HOST else End.HOST
        check_reach(place, end)
        carrier = make_carrier(place, end)
        async for result in play_all(picked, setting, carrier, attend, Streams(options["seed"]), _note):
            results += _told([result], options)
    finally:
        await attendant.leave()
    return results


async def _start_there(command: str, connection: Connection) -> Attendant:
    return await started(command.replace(AT, called(connection)))


async def _there(attendant: Attendant, _connection: Connection) -> Attendant:
    return attendant


class Typed:
    """Lines of stdin, read in a thread that nothing waits for: Ctrl-C ends the probe while it awaits one."""

    def __init__(self) -> None:
        self._lines: asyncio.Queue[str | None] = asyncio.Queue()
        self._begun = self._over = False

    async def line(self) -> str | None:
        """The next line; None at the end of input, and ever after."""
        if not self._begun:
            self._begun = True
            _read_on(self._lines)
        typed = None if self._over else await self._lines.get()
        self._over = typed is None
        return typed


def _note(line: str) -> None:
    click.echo(line, err=True)


def _told(results: Iterable[Result], options: dict[str, Any]) -> list[Result]:
    """The same results, each told as it comes."""
    if options["as_json"]:
        return [_whispered(result, bool(options["with_frames"])) for result in results]
    kept, out = [], console()
    for result in results:
        kept.append(result)
        word, style = STYLES[result.verdict]
        out.print(
            Text.assemble((f"{word:<4}", style), result.case.id, ("  " + result.case.section, "dim")),
            soft_wrap=True,
        )
        if result.why:
            out.print(Text(f"    {result.why}", style), soft_wrap=True)
        if result.verdict is Verdict.NOT_CONFORMING or options["with_frames"]:
            _show_exchange(result, bool(options["with_frames"]))
    return kept


def _whispered(result: Result, with_frames: bool) -> Result:
    """The same result.  What JSON without frames does not say, why a case did not pass, goes to stderr."""
    if result.why and not with_frames:
        _note(f"{STYLES[result.verdict][0]:<4}{result.case.id}: {result.why}")
    return result


def _show_exchange(result: Result, whole: bool) -> None:
    """The frames about the one that shows a finding, a line each, and that one field by field."""
    out = console()
    places = range(len(result.said)) if whole else around(result)
    if not whole and places.start:
        out.print(f"    {counted(places.start, 'frame')} before these", style="dim")
    for index in places:
        said = result.said[index]
        mark = "->" if index == result.at else "  "
        kind = explain(said.octets, range(len(said.octets)), 0).kind
        octets = said.octets[:OCTETS_SHOWN].hex(" ") + (" …" if len(said.octets) > OCTETS_SHOWN else "")
        who_said = "device" if said.by_device else "probe"
        out.print(Text(f" {mark} {said.t_us / 1e6:9.4f} s  {who_said:<7}{kind:<9}{octets}"), soft_wrap=True)
    if result.at is not None:
        shown = result.said[result.at].octets
        by = who(result.case.side, result.said[result.at].by_device)
        out.print(block(explain(shown, range(len(shown)), 0), by), width=WIDTH, soft_wrap=True)


def finish(side: Side, results: Sequence[Result], options: dict[str, Any]) -> None:
    """Say the sum, write what was asked for, and exit."""
    fine = passed(results, options["reached_only"])
    if options["as_json"]:
        print_json(document(results, fine, options["with_frames"]))
    else:
        counts = [f"{sum(r.verdict is verdict for r in results)} {verdict}" for verdict in Verdict]
        out = console()
        out.print(f"{counted(len(results), 'case')}: {', '.join(counts)}", style="bold")
        out.print(NO_APPROVAL, style="dim")
    if options["junit"] is not None:  # last: what took minutes is told even when this cannot be written
        try:
            options["junit"].write_text(junit(results, side), encoding="utf-8")
        except OSError as error:
            raise BadInput(
                f"{options['junit']}: {error.strerror or error}", "name a file that can be written"
            ) from None
    raise SystemExit(0 if fine else 1)


def be_stand_in(side: str, place: str, setting: Setting) -> None:
    """The built-in end behind a real medium until stdin ends.  Raises BadInput."""
    from benchsim.serve.carrier import check_reach, make_carrier
    from benchsim.serve.carriers.medium import Side as End

    which = Side(side)
    end = End.HOST if which is Side.HOST else End.NODES
    check_reach(place, end)
    carrier = make_carrier(place, end)
    device = MAKERS[which](setting, Streams("stand-in"))

    async def run() -> None:
        lines: asyncio.Queue[str | None] = asyncio.Queue()
        _read_on(lines)
        await stand_in(device, carrier, lines, click.echo)

    asyncio.run(run())


def _read_on(lines: asyncio.Queue[str | None]) -> None:
    """Have what comes on stdin put there from now on, a line each, and None at its end."""
    loop = asyncio.get_running_loop()

    def read() -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended first
            for line in sys.stdin:
                loop.call_soon_threadsafe(lines.put_nowait, line)
            loop.call_soon_threadsafe(lines.put_nowait, None)

    threading.Thread(target=read, daemon=True).start()
