"""What may be asked of the bench: of the instrument, of the site, of the link.  Plain frozen values."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Zero:
    """Set zero (semi-automatic zero-setting)."""


@dataclass(frozen=True, slots=True)
class Tare:
    """Take the load on the scale as tare."""


@dataclass(frozen=True, slots=True)
class PresetTare:
    """Set a tare value that was not weighed, in the unit of the indication."""

    value: Decimal


@dataclass(frozen=True, slots=True)
class ClearTare:
    """Back to gross."""


@dataclass(frozen=True, slots=True)
class Record:
    """Let one weighing through the recording interlock, now or not at all."""


InstrumentCommand = Zero | Tare | PresetTare | ClearTare | Record


@dataclass(frozen=True, slots=True)
class Place:
    """Put a load on the receptor.  x_m along its length, y_m across, from the corner at (0, 0)."""

    name: str
    mass_kg: float
    x_m: float
    y_m: float


@dataclass(frozen=True, slots=True)
class Move:
    """Move a load that is on the receptor."""

    name: str
    x_m: float
    y_m: float


@dataclass(frozen=True, slots=True)
class Remove:
    """Take a load off, or a vehicle away."""

    name: str


@dataclass(frozen=True, slots=True)
class Axle:
    """behind_m: distance behind the first axle, 0 for the first."""

    mass_kg: float
    behind_m: float


@dataclass(frozen=True, slots=True)
class Drive:
    """A vehicle drives on from x = 0, stops with its first axle at stop_x_m, stands, drives off over the far end.

    It brakes and pulls away at acceleration_m_per_s2.  stands_us: None stands until it is removed.
    """

    name: str
    axles: tuple[Axle, ...]
    speed_m_per_s: float
    stop_x_m: float
    y_m: float
    stands_us: int | None = None
    acceleration_m_per_s2: float = 0.5


SiteCommand = Place | Move | Remove | Drive


@dataclass(frozen=True, slots=True)
class StartFault:
    """Begin a fault of the catalogue.  key: this instance's own name.  target: cell or node number, 0 for all.

    parameters: the fault's own figures by field name, in its base units.
    """

    key: str
    fault: str
    target: int = 0
    parameters: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class EndFault:
    """End the fault that was started under this key."""

    key: str


FaultCommand = StartFault | EndFault


@dataclass(frozen=True, slots=True)
class Pair:
    """Pair an address (again); 0 pairs every address that does not flow."""

    address: int = 0


@dataclass(frozen=True, slots=True)
class Release:
    """Let a node go in good order; it may then pair with another host."""

    address: int


@dataclass(frozen=True, slots=True)
class Recommission:
    """The deliberate act at the node that forgets its host."""

    address: int


LinkCommand = Pair | Release | Recommission


@dataclass(frozen=True, slots=True)
class Ask:
    """A virtual client of a host protocol sends bytes; what comes back is kept as an answer event."""

    protocol: str
    octets: bytes


Command = InstrumentCommand | SiteCommand | FaultCommand | LinkCommand | Ask


def words(command: Command) -> str:
    """The command as a person says it: "place block: 18400 kg at 9 m, 1.5 m"."""
    match command:
        case Place(name, mass_kg, x_m, y_m):
            return f"place {name}: {mass_kg:g} kg at {x_m:g} m, {y_m:g} m"
        case Move(name, x_m, y_m):
            return f"move {name} to {x_m:g} m, {y_m:g} m"
        case Remove(name):
            return f"remove {name}"
        case Drive(name, axles):
            return f"drive {name}: {len(axles)} axles, {sum(a.mass_kg for a in axles):g} kg"
        case StartFault(key, fault, target):
            return f"start {fault}" + (f" on {target}" if target else "") + f" as {key}"
        case EndFault(key):
            return f"end fault {key}"
        case Pair(address):
            return f"pair address {address}" if address else "pair all"
        case Release(address):
            return f"release address {address}"
        case Recommission(address):
            return f"recommission the node at address {address}"
        case Ask(protocol, octets):
            return f"ask {protocol}: {octets!r}"
        case PresetTare(value):
            return f"preset tare {value}"
        case Zero():
            return "zero"
        case Tare():
            return "tare"
        case ClearTare():
            return "clear tare"
        case Record():
            return "record"
