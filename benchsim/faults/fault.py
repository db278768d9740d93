"""What a fault is: a fold over one part.  It takes a part and gives a changed part; two faults are two folds.

A fault holds its own figures only.  When it starts, ends and on what it acts is the command's; the stage
it changes never hears of it.  `fold` draws nothing and keeps nothing: a block is a cache, so how often it
is called may not matter.  A new fault is one file in the folder of its stage; see DEVELOPERS.md.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from decimal import Decimal
from types import ModuleType
from typing import Any, Protocol, TypeVar, cast

from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.library import members
from benchsim.ground.units import Dimension, example, parse
from benchsim.host.parts import CellSeat, HostParts
from benchsim.link.impairment import Impairment
from benchsim.link.parts import HostCard, NodeCard
from benchsim.scale.parts import Cell, Digitiser, Receptor, Site, Wiring
from benchsim.scale.supply import Supply

Value = float | str
T = TypeVar("T")
P = TypeVar("P")

DIRECTIONS = ("both", "up", "down")
HOUR_US = 3_600_000_000

# The units in which figures are shown to people, by kind of quantity, the largest first.
_SHOWN_IN = {
    "time": ("h", "min", "s", "ms", "us"),
    "resistance": ("Gohm", "Mohm", "kohm", "ohm"),
    "mass": ("t", "kg", "g"),
    "ratio": ("%",),
    "temperature coefficient": ("%/K", "ppm/K"),
    "length": ("m", "mm"),
    "stiffness": ("kN/mm", "N/m"),
    "pressure": ("bar", "Pa"),
    "speed": ("m/s",),
    "area": ("m2",),
}

# The ends of field names that say a unit, the longer first.
_UNITS = (
    "_m_per_s2", "_m_per_s", "_n_per_m", "_mv_per_v", "_ohm", "_hz", "_us", "_kg", "_ppm", "_pa", "_m2", "_k",
    "_m",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class NodePart:
    """What a fault of the stage `node` may change: who the node says it is, its converter, its power."""

    card: NodeCard
    digitiser: Digitiser = field(default_factory=Digitiser)
    powered: bool = True
    supply: Supply = field(default_factory=Supply)


@dataclass(frozen=True, slots=True)
class LinkPart:
    """What a fault of the stage `link` may change: what a node's frames meet, up to the host and down."""

    up: tuple[Impairment, ...] = ()
    down: tuple[Impairment, ...] = ()

    def also(self, impairment: Impairment, direction: str) -> LinkPart:
        """The same link with one more impairment, "up", "down" or "both" ways."""
        more = (impairment,)
        return LinkPart(
            up=self.up if direction == "down" else self.up + more,
            down=self.down if direction == "up" else self.down + more,
        )


@dataclass(frozen=True, slots=True)
class HostPart:
    """What a fault of the stage `host` may change: its settings, and what it knows of itself and nodes."""

    settings: HostParts
    card: HostCard

    def with_seat(self, cell: int, change: Callable[[CellSeat], CellSeat]) -> HostPart:
        """The same host, the seat of one cell (from 1) changed.  BadInput: there is no such cell."""
        seats = self.settings.seats
        if cell > len(seats):
            raise BadInput(f"cell {cell} of a host with {len(seats)} cells", f"cells 1 to {len(seats)}")
        changed = (*seats[: cell - 1], change(seats[cell - 1]), *seats[cell:])
        return replace(self, settings=replace(self.settings, seats=changed))


# The stages, in the order of the weight's way, and the part that a fault of each takes and gives.
STAGES: dict[str, type] = {
    "site": Site,
    "deck": Receptor,
    "cell": Cell,
    "wiring": Wiring,
    "node": NodePart,
    "link": LinkPart,
    "host": HostPart,
}


class Fault(Protocol[P]):
    """A fault with its figures set.  varies: it must be folded again each second while it lasts."""

    varies: bool

    def fold(self, part: P, age_us: int) -> P:
        """The part as the fault leaves it, age_us after its start.  BadInput: it does not fit."""
        ...


@dataclass(frozen=True, slots=True)
class Parameter:
    """One figure or word of a fault.

    dimension: None for a bare number or a word.  low, high: the range allowed, both ends in it, base unit.
    words: what a word may be; () for a number.
    """

    name: str
    default: Value
    dimension: Dimension | None
    doc: str
    low: float = -math.inf
    high: float = math.inf
    words: tuple[str, ...] = ()

    @property
    def word(self) -> str:
        """The name as a person writes it, its unit left off: "resistance" for resistance_ohm."""
        for unit in _UNITS:
            if self.name.endswith(unit):
                return self.name.removesuffix(unit).replace("_", " ")
        return self.name.replace("_", " ")

    @property
    def unit(self) -> str:
        """The unit that its default is shown in, "" for a word or a bare number."""
        if self.dimension is not None:
            return self.shown(self.default).rpartition(" ")[2]
        return {"ppm": "ppm", "k": "K"}.get(self.name.rpartition("_")[2], "")

    @property
    def range_text(self) -> str:
        """What is allowed, for a message: "1 to 16", "one of both, up, down"."""
        if self.words:
            return "one of " + ", ".join(self.words)
        return f"{self.shown(self.low)} to {self.shown(self.high)}"

    def shown(self, value: Value) -> str:
        """A value with its unit, as `read` takes it: "2 Mohm", "30 min", "0.2 %"."""
        if isinstance(value, str):
            return value
        if self.dimension is None or not math.isfinite(value):
            return f"{value:g}"
        if not value:
            return example(self.dimension, "0")
        factors = self.dimension.factors
        units = _SHOWN_IN.get(self.dimension.name, (self.dimension.base,))
        unit = next((u for u in units if abs(value) >= factors[u]), units[-1])
        return f"{(Decimal(repr(value)) / factors[unit]).normalize():f} {unit}"

    def read(self, given: object) -> Value:
        """The value that a person wrote, in the base unit.  BadInput: no unit, wrong unit, no number."""
        if self.words or self.dimension is None:
            if isinstance(given, str) or (isinstance(given, int | float) and not isinstance(given, bool)):
                return given
            raise BadInput(f"{self.word}: {given!r} is neither a number nor a word", self.range_text)
        if self.dimension.base == "1" and type(given) in (int, float):
            return cast(float, given)  # a fraction of one is a bare number by nature
        if not isinstance(given, str):
            right = f"write a {self.dimension.name}, as {example(self.dimension)!r}"
            raise BadInput(f"{self.word}: {given!r} has no unit", right)
        return float(parse(given, self.dimension))

    def checked(self, value: Value) -> Value:
        """The value, of the type the fault wants.  BadInput: a word for a number, out of range, not whole."""
        if self.words:
            if value not in self.words:
                raise unknown(self.word, str(value), self.words)
            return value
        if isinstance(value, str):
            raise BadInput(f"{self.word}: {value!r} is not a number", f"allowed: {self.range_text}")
        if not self.low <= value <= self.high or not math.isfinite(value):
            raise BadInput(f"{self.word}: {self.shown(value)} is out of range", f"allowed: {self.range_text}")
        if isinstance(self.default, int):
            if value != int(value):
                raise BadInput(f"{self.word}: {value:g} is not whole", f"allowed: {self.range_text}")
            return int(value)
        return float(value)


@dataclass(frozen=True, slots=True)
class Entry:
    """One fault of the catalogue, for people and for whatever lists, explains or starts faults.

    summary: what is wrong, in one line.  seen: what a technician would see.  cause: where it comes from.
    confirm: the usual way to make sure.  caution: where making sure can hurt, "" where it cannot.
    """

    name: str
    stage: str
    summary: str
    seen: str
    cause: str
    confirm: str
    caution: str
    varies: bool
    parameters: tuple[Parameter, ...]
    kind: type

    def make(self, parameters: Mapping[str, Value]) -> Fault[Any]:
        """The fault with these figures by field name, in base units; its own where none is given.

        Raises BadInput: unknown parameter, out of range, a number where a word is wanted.
        """
        by_name = {p.name: p for p in self.parameters}
        for name in parameters:
            if name not in by_name:
                raise self._unknown(name)
        made = {name: by_name[name].checked(value) for name, value in parameters.items()}
        return cast("Fault[Any]", self.kind(**made))

    def read(self, given: Mapping[str, object]) -> dict[str, Value]:
        """Parameters as a person writes them, {"resistance": "2 Mohm"}, as `make` takes them; all checked.

        A parameter goes by its field name or by its word.  Raises BadInput.
        """
        by_word = {key: p for p in self.parameters for key in (p.word, p.word.replace(" ", "_"), p.name)}
        read: dict[str, Value] = {}
        for word, value in given.items():
            if word not in by_word:
                raise self._unknown(word)
            parameter = by_word[word]
            if parameter.name in read:
                raise BadInput(f"{self.name}: {parameter.word} is given twice", "give it once")
            read[parameter.name] = parameter.checked(parameter.read(value))
        return read

    def _unknown(self, word: str) -> BadInput:
        if not self.parameters:
            return BadInput(f"{self.name} has no parameter {word!r}", "it has none")
        return unknown(f"parameter of {self.name}", word, [p.word for p in self.parameters])


@dataclass(frozen=True, slots=True)
class _Record:
    """What the decorator was told."""

    seen: str
    cause: str
    confirm: str
    caution: str


def fault(
    *, seen: str, cause: str, confirm: str, caution: str, varies: bool = False
) -> Callable[[type[T]], type[T]]:
    """Makes a frozen dataclass with a `fold` a fault of the catalogue.  The texts are those of Entry."""

    def keep(kind: type[T]) -> type[T]:
        told = cast(Any, kind)
        told.record = _Record(seen, cause, confirm, caution)
        told.varies = varies
        return kind

    return keep


def parameter(
    default: T,
    dimension: Dimension | None,
    doc: str,
    *,
    low: float = -math.inf,
    high: float = math.inf,
    words: tuple[str, ...] = (),
) -> T:
    """A field of a fault: its default, what kind of quantity it is, what it means, what it may be."""
    told = Parameter("", cast(Value, default), dimension, doc, low, high, words)
    return field(default=default, metadata={"parameter": told})


def direction() -> str:
    """The field of a link fault that says which way it acts."""
    return parameter("both", None, "which way: up to the host, down to the node, or both", words=DIRECTIONS)


def grown(age_us: int, over_us: int) -> float:
    """How far a slow change has come: 0 at its start, in a straight line to 1 at over_us, then 1."""
    return 1.0 if age_us >= over_us else max(age_us, 0) / over_us


@functools.cache
def catalogue() -> dict[str, Entry]:
    """Every fault by name: ours, then other packages'.  Raises BadInput for a wrong plug-in."""
    found: dict[str, Entry] = {}
    for stage, name, module in members("benchsim.faults"):
        if stage not in STAGES:
            raise BadInput(f"fault {name!r} has the stage {stage!r}", "stages: " + ", ".join(STAGES))
        if name in found:
            raise BadInput(f"two faults are named {name!r}", f"rename the one in {module.__name__}")
        found[name] = _entry(name, stage, module)
    return dict(sorted(found.items(), key=lambda item: (list(STAGES).index(item[1].stage), item[0])))


def entry_of(name: str) -> Entry:
    """One fault by name.  Raises BadInput, with the nearest name."""
    faults = catalogue()
    if name not in faults:
        raise unknown("fault", name, faults)
    return faults[name]


def _entry(name: str, stage: str, module: ModuleType) -> Entry:
    kinds = [
        k
        for k in vars(module).values()
        if isinstance(k, type) and k.__module__ == module.__name__ and hasattr(k, "record")
    ]
    if len(kinds) != 1 or not dataclasses.is_dataclass(kinds[0]):
        raise BadInput(
            f"{module.__name__} has {len(kinds)} faults", "one frozen dataclass marked with @fault a file"
        )
    kind = kinds[0]
    told: _Record = cast(Any, kind).record
    parameters = tuple(replace(f.metadata["parameter"], name=f.name) for f in fields(kind))
    summary = (kind.__doc__ or "").strip().split("\n\n")[0].replace("\n", " ")
    return Entry(
        name, stage, " ".join(summary.split()), told.seen, told.cause, told.confirm, told.caution,
        bool(cast(Any, kind).varies), parameters, kind,
    )  # fmt: skip
