"""Lines that a person types at a live scale, to commands of the bench.  Pure: a line in, a command out.

One line is one command; quantities carry units; what cannot be is told in one line with what would be right.
A name stands in double quotes where it could be read in two ways: place "block 2" 500 kg.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite

from benchsim.faults.fault import Entry, entry_of
from benchsim.ground import commands as ask
from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.units import LENGTH, MASS, SPEED, Dimension, parse
from benchsim.scale.parts import Receptor

FORMS = {
    "place": "place block 18.4 t at 9 m 1.5 m (or: over cell 3; without a place: in the middle; a name with"
    ' figures in quotes: place "block 2" 500 kg)',
    "move": "move block to 9 m 1.5 m (or: move block over cell 3)",
    "drive": "drive truck 6.8 t 10.9 t 18.6 t at 5 km/h (its axles; or with how far each is behind the first:"
    " 6.8 t, 10.9 t 4 m, 18.6 t 9 m; remove truck sends it on)",
    "remove": "remove block",
    "fault": "fault wet-connector on 3 (and: with resistance 2 Mohm, ... as NAME)",
    "end": "end wet-connector",
    "zero": "zero",
    "tare": "tare",
    "preset": "preset tare 1.2 t",
    "clear": "clear tare",
    "record": "record",
    "pair": "pair all (or: pair 2)",
    "release": "release 2",
    "recommission": "recommission 2",
    "quit": "quit",
    "help": "help",
}
HELP = tuple(FORMS.values())
SPEED_M_PER_S = 5 / 3.6  # of a vehicle for which none is named, as in a scenario
AXLES_APART_M = 4.0  # the same for its axles; closer together where the deck is short

_NUMBER = r"[+-]?(?:\d[\d_]*(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = rf"{_NUMBER}\s*(?:[^\W\d]\S*?)?"
_NAME_AND_MASS = re.compile(rf"(?P<name>.+)\s+(?P<mass>{_QUANTITY})")
_FIGURE = re.compile(r"[+-]?\.?\d")
_SPOT = re.compile(rf"(?P<x>{_QUANTITY})(?:\s*,\s*|\s+)(?P<y>{_QUANTITY})")
_MEASURE = rf"(?>{_NUMBER}\s*[^\W\d][^\s,]*)"  # taken once: many in a row have no second reading
_BEHIND = rf"{_NUMBER}\s*(?:{'|'.join(LENGTH.factors)})(?![^\s,])"
_VEHICLE = re.compile(
    rf"(?P<name>(?:(?!{_FIGURE.pattern})\S+\s+)*)(?P<axles>{_MEASURE}(?:(?:\s*,\s*|\s+){_MEASURE})*)"
    rf"(?:\s+at\s+(?P<speed>{_QUANTITY}))?"
)
_WHERE = re.compile(r"\s+(?P<how>at|to|over)\s+(?P<place>(?:(?!\s(?:at|to|over)\s).)+)$")


@dataclass(frozen=True, slots=True)
class Quit:
    """End the session."""


@dataclass(frozen=True, slots=True)
class Help:
    """Tell what may be typed."""


Typed = ask.Command | Quit | Help


def read(line: str, receptor: Receptor) -> Typed | None:
    """What a line asks for; None for an empty line or a comment (#).

    receptor: where loads are put.  Raises BadInput.
    """
    words = " ".join(_before_note(line).split())
    if not words:
        return None
    verb, _, rest = words.partition(" ")
    if verb.lower() not in FORMS:
        raise unknown("command", verb, FORMS)
    return _VERBS[verb.lower()](rest, receptor)


def _before_note(line: str) -> str:
    """A line without its comment; a # in quotes begins none."""
    quoted = False
    for at, letter in enumerate(line):
        quoted ^= letter == '"'
        if letter == "#" and not quoted:
            return line[:at]
    return line


def _quoted(form: str, rest: str) -> tuple[str | None, str]:
    """The name in quotes that a line begins with, None for none, and what follows it."""
    if not rest.startswith('"'):
        return None, rest
    name, end, after = rest[1:].partition('"')
    if not end or not name.strip() or (after and not after.startswith(" ")):
        raise _as(form, rest)
    return name.strip(), after.strip()


def _only_name(form: str, rest: str) -> str:
    """The name that is all of a line."""
    name, after = _quoted(form, rest)
    if not (name or after) or (name and after):
        raise _as(form, rest)
    return name or after


def _as(form: str, found: str) -> BadInput:
    typed = f"{form} {found}".strip()
    return BadInput(f"{typed!r} is not a whole command", f"write {FORMS[form]}")


def _number(text: str, dimension: Dimension) -> float:
    """A quantity in its base unit.  Raises BadInput, also for one that no float holds."""
    value = float(parse(text, dimension))
    if not isfinite(value):
        raise BadInput(f"{text!r} is out of any range", f"write a {dimension.name} that can be")
    return value


def _alone(form: str, command: Typed) -> Callable[[str, Receptor], Typed]:
    """A command of one word."""

    def made(rest: str, _receptor: Receptor) -> Typed:
        if rest:
            raise BadInput(f"{form} takes nothing, but {rest!r} follows", f"write {FORMS[form]}")
        return command

    return made


# -- loads ---------------------------------------------------------------------------------------------


def _place(rest: str, receptor: Receptor) -> ask.Place:
    name, after = _quoted("place", rest)
    what, spot_m = _where("place", after, ("at", "over"), receptor)
    match = re.fullmatch(rf"(?P<mass>{_QUANTITY})", what) if name else _NAME_AND_MASS.fullmatch(what)
    if not match:
        raise _as("place", rest)
    if name is None:
        name = _plain_name(match["name"], match["mass"])
    x_m, y_m = spot_m or (receptor.length_m / 2, receptor.width_m / 2)
    return ask.Place(name, _number(match["mass"], MASS), x_m, y_m)


def _plain_name(name: str, mass: str) -> str:
    """A name without quotes, none of whose words could belong to the mass."""
    if any(_FIGURE.match(word) for word in name.split(" ")):
        raise BadInput(
            f"{f'{name} {mass}'!r} can be read in more than one way",
            f'write place "{name}" {mass} for a load of that name; a mass has no space inside: 1500 kg',
        )
    return name


def _move(rest: str, receptor: Receptor) -> ask.Move:
    name, after = _quoted("move", rest)
    what, spot_m = _where("move", after, ("to", "over"), receptor)
    if bool(name) == bool(what) or spot_m is None:
        raise _as("move", rest)
    return ask.Move(name or what, *spot_m)


def _drive(rest: str, receptor: Receptor) -> ask.Drive:
    """Onto the middle of the deck, where it stands until it is removed."""
    name, after = _quoted("drive", rest)
    match = _VEHICLE.fullmatch(after)
    if not match or bool(name) == bool(match["name"]):
        raise _as("drive", rest)
    axles = _axles(match["axles"], receptor.length_m)
    speed = _number(match["speed"], SPEED) if match["speed"] else SPEED_M_PER_S
    stop_x_m = (receptor.length_m + max(axle.behind_m for axle in axles)) / 2
    return ask.Drive(name or match["name"].strip(), axles, speed, stop_x_m, receptor.width_m / 2)


def _axles(text: str, length_m: float) -> tuple[ask.Axle, ...]:
    """Masses, each with how far behind the first axle; or none of them, for axles that are evenly apart."""
    found = re.findall(rf"({_MEASURE})(?:[\s,]+({_BEHIND}))?", text)
    masses_kg = [_number(mass, MASS) for mass, _ in found]
    apart_m = min(AXLES_APART_M, length_m / (len(found) + 1))
    behind_m = [number * apart_m for number in range(len(found))]
    told = [behind for _, behind in found[1:] if behind]
    if found[0][1] or len(told) not in (0, len(found) - 1):
        raise _as("drive", text)
    if told:
        behind_m = [0.0, *(_number(behind, LENGTH) for behind in told)]
    return tuple(map(ask.Axle, masses_kg, behind_m))


def _remove(rest: str, _receptor: Receptor) -> ask.Remove:
    return ask.Remove(_only_name("remove", rest))


def _where(
    form: str, rest: str, known: tuple[str, ...], receptor: Receptor
) -> tuple[str, tuple[float, float] | None]:
    """A line without its place, and the place in metres; None when it names none."""
    match = _WHERE.search(f" {rest}")
    if not match or match["how"] not in known:
        return rest, None
    what = f" {rest}"[: match.start()].strip()
    place = match["place"].strip()
    if match["how"] == "over":
        return what, _over(place, receptor)
    spot = _SPOT.fullmatch(place)
    if not spot:
        raise BadInput(f"{place!r} is not a place", f"two lengths, as in {FORMS[form]}")
    return what, (_number(spot["x"], LENGTH), _number(spot["y"], LENGTH))


def _over(place: str, receptor: Receptor) -> tuple[float, float]:
    count = len(receptor.supports)
    match = re.fullmatch(r"(?:cell\s+)?(\d{1,3})", place)
    if not match or not 1 <= int(match[1]) <= count:
        raise BadInput(f"there is no {place!r} to put it over", f"cell 1 to cell {count}")
    support = receptor.supports[int(match[1]) - 1]
    return support.x_m, support.y_m


# -- faults --------------------------------------------------------------------------------------------

_FAULT = re.compile(
    r"(?P<fault>\S+)"
    r"(?:\s+on\s+(?P<kind>cell|node|all)?\s*(?P<number>\d{1,3})?)?"
    r"(?:\s+with\s+(?P<figures>.+?))?"
    r"(?:\s+as\s+(?P<key>\S+))?"
)


def _fault(rest: str, _receptor: Receptor) -> ask.StartFault:
    name = rest.split(" ")[0]
    if not name:
        raise _as("fault", rest)
    entry = entry_of(name)
    match = _FAULT.fullmatch(rest)
    if not match:
        raise _as("fault", rest)
    wanted = "node" if entry.stage in ("node", "link") else "cell"
    kind, number = match["kind"], match["number"]
    if kind in ("cell", "node") and kind != wanted:
        raise BadInput(f"{name} does not act on a {kind}", f"write on {wanted} 1, or leave it out for all")
    if (kind in ("cell", "node") and not number) or number == "0":
        raise BadInput(f"{name} on which {wanted}?", f"write on {wanted} 1, or leave it out for all")
    figures = entry.read(_figures(entry, match["figures"] or ""))
    return ask.StartFault(match["key"] or name, name, int(number or 0), figures)


def _figures(entry: Entry, text: str) -> dict[str, object]:
    """ "resistance 2 Mohm, over 1 h" to words and what they are to be."""
    words = sorted((p.word for p in entry.parameters), key=len, reverse=True)
    found: dict[str, object] = {}
    for piece in filter(None, (p.strip() for p in text.split(","))):
        word = next((w for w in words if piece.startswith((f"{w} ", f"{w}:"))), piece.split(" ")[0])
        value = piece[len(word) :].removeprefix(":").strip()
        found[word.rstrip(":")] = _plain(value)
    return found


def _plain(value: str) -> object:
    """A bare number as a number, all else as it stands."""
    return float(value) if re.fullmatch(_NUMBER, value) else value


def _end(rest: str, _receptor: Receptor) -> ask.EndFault:
    return ask.EndFault(_only_name("end", rest))


# -- the instrument and the link -----------------------------------------------------------------------


def _preset(rest: str, _receptor: Receptor) -> ask.PresetTare:
    word, _, value = rest.partition(" ")
    if word != "tare" or not value:
        raise _as("preset", rest)
    return ask.PresetTare(parse(value, MASS))


def _clear(rest: str, _receptor: Receptor) -> ask.ClearTare:
    if rest != "tare":
        raise _as("clear", rest)
    return ask.ClearTare()


def _pair(rest: str, _receptor: Receptor) -> ask.Pair:
    return ask.Pair(0 if rest in ("", "all") else _address("pair", rest))


def _release(rest: str, _receptor: Receptor) -> ask.Release:
    return ask.Release(_address("release", rest))


def _recommission(rest: str, _receptor: Receptor) -> ask.Recommission:
    return ask.Recommission(_address("recommission", rest))


def _address(form: str, rest: str) -> int:
    match = re.fullmatch(r"(?:address\s+|node\s+)?(\d{1,9})", rest)
    if not match or not int(match[1]):
        raise _as(form, rest)
    return int(match[1])


_VERBS: dict[str, Callable[[str, Receptor], Typed]] = {
    "place": _place,
    "move": _move,
    "drive": _drive,
    "remove": _remove,
    "fault": _fault,
    "end": _end,
    "zero": _alone("zero", ask.Zero()),
    "tare": _alone("tare", ask.Tare()),
    "preset": _preset,
    "clear": _clear,
    "record": _alone("record", ask.Record()),
    "pair": _pair,
    "release": _release,
    "recommission": _recommission,
    "quit": _alone("quit", Quit()),
    "help": _alone("help", Help()),
}
