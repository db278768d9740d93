"""What may be asked of the bench: of the instrument, of the site, of the link.  Plain frozen values.

A command's text is how a person would say it: "place block: 18400 kg at 9 m, 1.5 m".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from benchsim.ground.clock import seconds


@dataclass(frozen=True, slots=True)
class Zero:
    """Set zero (semi-automatic zero-setting)."""

    def __str__(self) -> str:
        return "zero"


@dataclass(frozen=True, slots=True)
class Tare:
    """Take the load on the scale as tare."""

    def __str__(self) -> str:
        return "tare"


@dataclass(frozen=True, slots=True)
class PresetTare:
    """Set a tare value that was not weighed, in the unit of the indication."""

    value: Decimal

    def __str__(self) -> str:
        return f"preset tare {self.value}"


@dataclass(frozen=True, slots=True)
class ClearTare:
    """Back to gross."""

    def __str__(self) -> str:
        return "clear tare"


@dataclass(frozen=True, slots=True)
class Record:
    """Let one weighing through the recording interlock, now or not at all."""

    def __str__(self) -> str:
        return "record"


InstrumentCommand = Zero | Tare | PresetTare | ClearTare | Record


@dataclass(frozen=True, slots=True)
class Place:
    """Put a load on the receptor.  x_m along its length, y_m across, from the corner at (0, 0)."""

    name: str
    mass_kg: float
    x_m: float
    y_m: float

    def __str__(self) -> str:
        return f"place {self.name}: {self.mass_kg:g} kg at {self.x_m:g} m, {self.y_m:g} m"


@dataclass(frozen=True, slots=True)
class Move:
    """Move a load that is on the receptor."""

    name: str
    x_m: float
    y_m: float

    def __str__(self) -> str:
        return f"move {self.name} to {self.x_m:g} m, {self.y_m:g} m"


@dataclass(frozen=True, slots=True)
class Remove:
    """Take a load off, or a vehicle away."""

    name: str

    def __str__(self) -> str:
        return f"remove {self.name}"


@dataclass(frozen=True, slots=True)
class Axle:
    """behind_m: distance behind the first axle, 0 for the first."""

    mass_kg: float
    behind_m: float


@dataclass(frozen=True, slots=True)
class Drive:
    """A vehicle drives on from x = 0, stands, and drives off over the far end.

    It stops with its first axle at stop_x_m; it brakes and pulls away at acceleration_m_per_s2.
    stands_us: None stands until it is removed.  springs_hz, springs_damping: of its body on its axles; 0 Hz
    is a stiff one.  centre_height_m: of its mass above the ground, by which braking shifts load forward.
    edge_step_m: what the deck lies above the road, a bump to each axle that comes on.  begins_m: how far
    along its way this deck begins, for a vehicle that crosses others too and may stop beside this one;
    stop_x_m counts from 0 of the way.
    """

    name: str
    axles: tuple[Axle, ...]
    speed_m_per_s: float
    stop_x_m: float
    y_m: float
    stands_us: int | None = None
    acceleration_m_per_s2: float = 0.5
    springs_hz: float = 0.0
    springs_damping: float = 0.15
    centre_height_m: float = 0.0
    edge_step_m: float = 0.0
    begins_m: float | None = None

    def __str__(self) -> str:
        return f"drive {self.name}: {len(self.axles)} axles, {sum(a.mass_kg for a in self.axles):g} kg"


@dataclass(frozen=True, slots=True)
class Walk:
    """Somebody walks over the receptor, from x = 0 to its far end.

    pace_hz: steps a second.  dynamic: what the first harmonic of a step adds, over the weight.
    """

    name: str
    mass_kg: float
    y_m: float
    speed_m_per_s: float = 1.4
    pace_hz: float = 1.9
    dynamic: float = 0.4

    def __str__(self) -> str:
        return f"walk {self.name}: {self.mass_kg:g} kg at {self.pace_hz:g} steps a second"


@dataclass(frozen=True, slots=True)
class Fill:
    """Let bulk material run onto the receptor, or more of it on what lies there under that name.

    mass_kg at rate_kg_per_s, the last dribble_kg of it at dribble_rate_kg_per_s; it falls by fall_m.
    """

    name: str
    mass_kg: float
    rate_kg_per_s: float
    x_m: float
    y_m: float
    fall_m: float = 0.0
    dribble_kg: float = 0.0
    dribble_rate_kg_per_s: float = 0.0

    def __str__(self) -> str:
        return f"fill {self.name}: {self.mass_kg:g} kg at {self.rate_kg_per_s:g} kg/s"


@dataclass(frozen=True, slots=True)
class Discharge:
    """Let bulk material run out again.  mass_kg: None is all of it."""

    name: str
    rate_kg_per_s: float
    mass_kg: float | None = None

    def __str__(self) -> str:
        what = "all" if self.mass_kg is None else f"{self.mass_kg:g} kg"
        return f"discharge {self.name}: {what} at {self.rate_kg_per_s:g} kg/s"


@dataclass(frozen=True, slots=True)
class Roam:
    """An animal comes on and moves about a place until it is removed.

    reach_m: standard deviation of where it is, each way.  restless: of its weight, from its moves.
    """

    name: str
    mass_kg: float
    x_m: float
    y_m: float
    reach_m: float = 0.4
    restless: float = 0.05

    def __str__(self) -> str:
        return f"roam {self.name}: {self.mass_kg:g} kg about {self.x_m:g} m, {self.y_m:g} m"


SiteCommand = Place | Move | Remove | Drive | Walk | Fill | Discharge | Roam
SITE_COMMANDS = (Place, Move, Remove, Drive, Walk, Fill, Discharge, Roam)


@dataclass(frozen=True, slots=True)
class StartFault:
    """Begin a fault of the catalogue.

    key: this instance's own name.  target: cell or node number, 0 for all.
    parameters: the fault's own figures and words by field name, figures in their base units.
    grows_us: how long it takes from nothing to all of it; 0 at once.
    """

    key: str
    fault: str
    target: int = 0
    parameters: Mapping[str, float | str] = field(default_factory=dict)
    grows_us: int = 0

    def __str__(self) -> str:
        grows = f", growing for {seconds(self.grows_us)}" if self.grows_us else ""
        where = f" on {self.target}" if self.target else ""
        return f"start {self.fault}{where} as {self.key}{grows}"


@dataclass(frozen=True, slots=True)
class EndFault:
    """End the fault that was started under this key."""

    key: str

    def __str__(self) -> str:
        return f"end fault {self.key}"


FaultCommand = StartFault | EndFault


@dataclass(frozen=True, slots=True)
class Pair:
    """Pair an address (again); 0 pairs every address that does not flow."""

    address: int = 0

    def __str__(self) -> str:
        return f"pair address {self.address}" if self.address else "pair all"


@dataclass(frozen=True, slots=True)
class Release:
    """Let a node go in good order; it may then pair with another host."""

    address: int

    def __str__(self) -> str:
        return f"release address {self.address}"


@dataclass(frozen=True, slots=True)
class Recommission:
    """The deliberate act at the node that forgets its host."""

    address: int

    def __str__(self) -> str:
        return f"recommission the node at address {self.address}"


@dataclass(frozen=True, slots=True)
class Expect:
    """Tell the host anew what it has: cells of the whole scale, and (address, cells) of each address set."""

    cells: int
    at: tuple[tuple[int, int], ...]

    def __str__(self) -> str:
        places = ", ".join(f"{cells} at address {address}" for address, cells in self.at)
        return f"expect {self.cells} cells: {places}"


LinkCommand = Pair | Release | Recommission | Expect


@dataclass(frozen=True, slots=True)
class Ask:
    """A virtual client of a host protocol sends bytes; what comes back is kept as an answer event."""

    protocol: str
    octets: bytes

    def __str__(self) -> str:
        return f"ask {self.protocol}: {self.octets!r}"


Command = InstrumentCommand | SiteCommand | FaultCommand | LinkCommand | Ask
