"""One live session from options to its orderly end: which rims, what a person is told, who ends it."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from benchsim.bench.plan import Scheduled
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import InstrumentCard
from benchsim.ground.units import TIME, parse
from benchsim.link.figures import Way, told
from benchsim.scale.parts import Receptor
from benchsim.serve.lines import SECOND_US, Folding, Line, compact
from benchsim.serve.live import Connection, Live, LiveBench, Rim, serve
from benchsim.serve.narrator import Narrator
from benchsim.serve.node_link import NodeLink
from benchsim.serve.opened import Opened
from benchsim.serve.ready import ReadyFile
from benchsim.serve.serial_port import DEFAULT_BAUD, PSEUDO, PseudoTerminal, RealPort
from benchsim.serve.sockets import Limits, TcpRim, parse_address
from benchsim.serve.stopping import Stopping
from benchsim.serve.typist import Typist

MAX_SPEED = 1000.0
ENDED = "ended in good order"
NODE_LINK = "nodelink"
HOW_TO_TYPE = "commands may be typed here: help lists them, quit or the end of the input ends the session"


@dataclass(frozen=True, slots=True)
class Options:
    """Where to serve, how fast, how long, and who may do what.

    serial: "pty" or a port's name each.  tcp: "[host:]port" each.  duration: wall time as written, None
    until a signal.  speed: bench time over wall time.  limits: what a TCP listener puts up with.
    commands: take commands from standard input.  hide_faults: do not tell when faults begin and end.
    as_json: tell all as JSON objects, one a line, for a program that reads along.
    """

    serial: tuple[str, ...] = ()
    tcp: tuple[str, ...] = ()
    baud: int = DEFAULT_BAUD
    duration: str | None = None
    speed: float = 1.0
    limits: Limits = field(default_factory=Limits)
    commands: bool = False
    hide_faults: bool = False
    as_json: bool = False

    def check(self) -> None:
        """Raises BadInput for what can never be, before anything is loaded or opened."""
        checked_speed(self.speed)
        duration_s(self.duration)
        for address in self.tcp:
            parse_address(address)


@dataclass(frozen=True, slots=True)
class Scene:
    """What is served, and where it stands.

    timeline: what will happen to it by itself.  ways: (address, its way) of each node whose radio or cable
    is described.  seed: of every random stream, for who wants the same again.
    """

    title: str
    card: InstrumentCard
    protocol: str
    receptor: Receptor
    timeline: Sequence[Scheduled] = ()
    ways: Sequence[tuple[int, Way]] = ()
    seed: int = 0


class Telling:
    """Lines for a person.  Held back until begin, so that nothing is said by a session that cannot open.

    say: prints a line, may raise OSError.  Then trouble says so, nothing more is said, and full is called.
    """

    def __init__(self, say: Callable[[str], None], full: Callable[[], object]) -> None:
        self._say = say
        self._full = full
        self._held: list[str] | None = []
        self.trouble: OSError | None = None

    def __call__(self, line: str) -> None:
        if self.trouble is not None:
            return
        if self._held is not None:
            self._held.append(line)
            return
        try:
            self._say(line)
        except OSError as error:
            self.trouble = error
            self._full()

    def begin(self, lines: Sequence[str]) -> None:
        """Say these, then what was held back, and from now on each line at once."""
        held, self._held = self._held or [], None
        for line in (*lines, *held):
            self(line)


class Voice:
    """What happens, as lines for whoever reads: text or JSON, and no more of it than can be followed.

    tell: takes one line.  second_us: bench time of a second of who reads.
    """

    def __init__(self, tell: Telling, second_us: int, as_json: bool) -> None:
        self._tell = tell
        self._as_json = as_json
        self._folding = Folding(second_us)

    def happened(self, line: Line) -> None:
        """Something happened that a client may cause again and again."""
        self.say(self._folding.take(line))

    def say(self, lines: Iterable[Line]) -> None:
        """Say these, each."""
        for line in lines:
            self._tell(line.document() if self._as_json else str(line))

    def reply(self, now_us: int, text: str, done: bool) -> None:
        """Say this to who types."""
        self._tell(Line(now_us, "typed", "", text, done).document() if self._as_json else text)

    def due(self, now_us: int) -> None:
        """Say what was counted while it repeated, when it is time."""
        self.say(self._folding.due(now_us))

    def end(self, now_us: int) -> None:
        """Say all that is left to say, and that it was all."""
        self.say(self._folding.rest(now_us))

    def last(self, now_us: int) -> str:
        """The last line of a session."""
        if not self._as_json:
            return f"{ENDED}; all weights were SIMULATED"
        return compact({"kind": "end", "at_s": now_us / SECOND_US, "text": ENDED, "simulated": True})


def duration_s(text: str | None) -> float | None:
    """ "30" (seconds), "30 s", "5 min" to seconds of wall time.  Raises BadInput."""
    if text is None:
        return None
    has_unit = any(c.isalpha() for c in text.lower().replace("e", ""))
    seconds = float(parse(text if has_unit else f"{text} s", TIME) / 1_000_000)
    if seconds <= 0:
        raise BadInput(f"a duration of {text!r} is over before it begins", "name a time above 0")
    return seconds


def checked_speed(speed: float) -> float:
    """The speed, if the bench can be walked at it."""
    if not math.isfinite(speed) or not 0 < speed <= MAX_SPEED:
        raise BadInput(f"a speed of {speed:g}", f"name a factor above 0 and up to {MAX_SPEED:g}")
    return speed


def make_rims(live: Live, options: Options) -> list[Rim]:
    """The rims that the options name, none open yet."""
    rims: list[Rim] = [
        PseudoTerminal(live) if name == PSEUDO else RealPort(live, name, options.baud)
        for name in options.serial
    ]
    rims.extend(TcpRim(live, address, options.limits) for address in options.tcp)
    return rims


def run_session(
    bench: LiveBench,
    scene: Scene,
    options: Options,
    say: Callable[[str], None],
    stopping: Stopping,
    ready_file: ReadyFile | None = None,
    link: NodeLink | None = None,
) -> None:
    """Serve until an end is asked for (by stopping, or typed) or the duration is over.

    say: prints a line.  link: the bench's node link, where its other end is somebody else's.  Raises
    BadInput: options that cannot be, a place that cannot be opened, nothing said before.  OSError: a line
    could not be printed.
    """
    options.check()
    tell = Telling(say, stopping.ask)
    voice = Voice(tell, max(1, round(options.speed * SECOND_US)), options.as_json)
    try:
        asyncio.run(_session(bench, scene, options, tell, voice, stopping, ready_file, link))
    finally:
        voice.end(bench.now_us)
        if ready_file is not None:
            ready_file.take_away()
    tell(voice.last(bench.now_us))
    if tell.trouble is not None:
        raise tell.trouble


async def _session(
    bench: LiveBench,
    scene: Scene,
    options: Options,
    tell: Telling,
    voice: Voice,
    stopping: Stopping,
    ready_file: ReadyFile | None,
    link: NodeLink | None,
) -> None:
    stop, loop = asyncio.Event(), asyncio.get_running_loop()
    live = Live(bench, scene.card, scene.protocol, voice.happened)
    narrator = Narrator(bench, scene.timeline, options.hide_faults)
    stopping.tell(lambda: loop.call_soon_threadsafe(stop.set))

    def news(typed: bool = False) -> None:
        for line in narrator.news():
            voice.say([line]) if typed else voice.happened(line)
        voice.due(bench.now_us)

    def reply(text: str, done: bool) -> None:
        voice.reply(bench.now_us, text, done)

    def ready(connections: tuple[Connection, ...]) -> None:
        if options.commands:
            Typist(bench, scene.receptor, reply, stopping.ask, news, options.hide_faults).listen()
        opened = Opened(connections[:own], connections[own:], None if link is None else link.facts)
        tell.begin(first_lines(scene, opened, options))
        if ready_file is not None:
            ready_file.write(opened.places())

    rims = make_rims(live, options)
    own = len(rims)
    paced = None if link is None else link.paced
    if link is not None:
        rims += link.rims(live.note)
    try:
        lasts_s = duration_s(options.duration)
        await serve(live, rims, stop, options.speed, lasts_s, ready, news, paced)
        news()
    finally:
        stopping.tell(None)


def first_lines(scene: Scene, opened: Opened, options: Options) -> list[str]:
    """What is told as soon as all listens: one JSON object, or lines for a person."""
    if not options.as_json:
        lines = [scene.title, *told(scene.ways), *opened.lines()]
        return [*lines, HOW_TO_TYPE] if options.commands else lines
    ready = {
        "kind": "ready",
        "title": scene.title,
        "simulated": True,
        "seed": scene.seed,
        "protocol": scene.protocol if opened.own else NODE_LINK,
        "connections": [{"kind": c.kind, "address": c.address} for c in opened.own],
        "links": [{"address": address, **way.document()} for address, way in scene.ways],
    }
    return [compact(ready | opened.document())]
