"""The format of a scenario file: every key there is, its kind, its default, what it means.

Keys are plain words ("rated output"); a Python name gives its key with its underscores as spaces.  What is
left out has a sensible value, so a small scenario is a dozen lines.  What needs more than one key to be
judged is judged in build.py; the JSON Schema beside the protocols is made from these classes.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from benchsim.scenario import quantities as q
from benchsim.scenario.expectation import Expectation
from benchsim.scenario.story import Step
from benchsim.scenario.ways import BitRate, Cable, OtherNetwork, Radio

MAX_CELLS = 16
MAX_SEED = 2**63 - 1
MAX_BOX = 64


def _key(name: str) -> str:
    return name.rstrip("_").replace("_", " ")


class Part(BaseModel):
    """A mapping of the file: unknown keys are refused, nothing is changed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=_key, allow_inf_nan=False)


def key(default: Any, description: str, **limits: Any) -> Any:
    """A key that may be left out."""
    return Field(default, description=description, **limits)


def needed(description: str, **limits: Any) -> Any:
    """A key that must be there."""
    return Field(description=description, **limits)


Word = Annotated[str, Field(strict=True, min_length=1, max_length=200)]
CellNumber = Annotated[int, Field(strict=True, ge=1, le=MAX_CELLS)]
Address = Annotated[int, Field(strict=True, ge=1, le=16)]
Network = Annotated[int, Field(strict=True, ge=0, le=65535)]


class Receptor(Part):
    """The load receptor: what the load stands on."""

    length: q.Length | None = key(None, "along x; default 2 m for up to 4 cells, else 6 m a pair less one")
    width: q.Length | None = key(None, "along y; default 2 m for up to 4 cells, else 3 m")
    dead_load: q.DeadLoad | None = key(None, "mass of the receptor itself; default a fifth of the capacity")
    natural_frequency: q.Frequency = key("8 Hz", "of its vertical movement", validate_default=True)
    damping: q.Fraction = key("8 %", "damping ratio of that movement", validate_default=True)


class Scale(Part):
    """The scale as a whole."""

    capacity: q.Mass = needed("Max, the largest load")
    interval: q.Mass = needed("the scale interval d: 1, 2 or 5 times a power of ten")
    receptor: Receptor = key(Receptor(), "the load receptor")


class CreepTerm(Part):
    """One exponential of a cell's creep."""

    share: q.SignedFraction = needed("share of the load's output that comes late")
    time_constant: q.Span = needed("how late")


class CellFigures(Part):
    """A cell's data-sheet figures, named as in OIML R 60, and its way to the terminals."""

    capacity: q.Mass | None = key(None, "E_max; default large enough for scale, dead load and a margin")
    accuracy_class: Literal["A", "B", "C", "D"] | None = key(
        None, "of OIML R 60: gives typical figures within it where none are given; needs intervals"
    )
    intervals: Annotated[int, Field(strict=True, ge=1, le=10_000_000)] | None = key(
        None, "n_LC, the number of verification intervals"
    )
    apportionment: Annotated[float, Field(strict=True, ge=0.3, le=0.8)] | None = key(
        None, "p_LC; default 0.7"
    )
    v_min: q.Mass | None = key(None, "smallest verification interval; default E_max / n_LC")
    y: Annotated[float, Field(strict=True, ge=1, le=1e8)] | None = key(
        None, "E_max / v_min, instead of v min"
    )
    dead_load_return: q.Mass | None = key(
        None, "DR, what 30 min of load leave at most; default what the class allows"
    )
    z: Annotated[float, Field(strict=True, ge=1, le=1e8)] | None = key(
        None, "E_max / (2 DR), instead of dead load return"
    )
    rated_output: q.Output | None = key(None, "output at E_max; default 2 mV/V")
    zero_balance: q.SignedOutput | None = key(None, "output with no load; default 0")
    nonlinearity: q.SignedFraction | None = key(None, "of rated output, signed; default 0")
    hysteresis: q.SignedFraction | None = key(None, "of rated output; default 0")
    creep: Annotated[list[CreepTerm], Field(max_length=8)] | None = key(None, "as a sum of exponentials")
    creep_after_30_min: q.SmallFraction | None = key(
        None, "share of the load's output that has come late by then, instead of creep"
    )
    repeatability: q.Fraction | None = key(
        None, "standard deviation from loading to loading, of the load's output; default 0"
    )
    zero_effect: q.PerKelvin | None = key(None, "temperature effect on zero, of rated output; default 0")
    span_effect: q.PerKelvin | None = key(None, "temperature effect on span; default 0")
    thermal_time_constant: q.Time | None = key(
        None, "how late the cell takes the site's temperature; default at once, 30 min in an accuracy class"
    )
    safe_load_limit: q.Mass | None = key(None, "E_lim, the load that does no harm; default 150 % of E_max")
    overload_set: q.SignedFraction | None = key(
        None, "of a load beyond it, what zero is shifted by for good; default 0, 10 % in an accuracy class"
    )
    input_resistance: q.Resistance | None = key(None, "default 385 ohm")
    output_resistance: q.Resistance | None = key(None, "default 350 ohm")
    stiffness: q.Stiffness | None = key(None, "of cell and its mount; default 100 kN/mm")
    height: q.SupportHeight | None = key(None, "of the support above where it should be; default 0 mm")
    anchored: q.OnOff | None = key(
        None, "whether the deck is fast to it, both ways; default off: a deck lifts off its supports"
    )
    lead_resistance: q.LeadResistance | None = key(
        None, "of each conductor at 20 °C, as copper; default 0 ohm"
    )
    sensed: q.OnOff | None = key(None, "whether the reference is taken at the cell (SEN+, SEN-); default on")


class OneCell(CellFigures):
    """What is different about one cell."""

    cell: CellNumber = needed("its number, from 1")


class Cells(CellFigures):
    """All cells.  They are laid out in rows of two unless their places are given."""

    count: CellNumber | None = key(None, "how many, 1 to 16; default 4, or as many as there are places")
    at: Annotated[list[q.Position], Field(min_length=1, max_length=MAX_CELLS)] | None = key(
        None, "the place of each, as [x, y]"
    )
    inset: q.Distance | None = key(None, "from the edges when laid out in rows; default a twentieth")
    each: Annotated[list[OneCell], Field(max_length=MAX_CELLS)] = key([], "what is different about some")


class Filter(Part):
    """The converter's digital filter."""

    order: Annotated[int, Field(strict=True, ge=1, le=4)] = key(3, "boxes in a row: sinc1 to sinc4")
    samples: Annotated[int, Field(strict=True, ge=1, le=MAX_BOX)] | None = key(
        None, "length of one box, in samples; default 4"
    )
    notch: q.Frequency | None = key(None, "instead of samples: what it takes away, as the mains")


class Pickup(Part):
    """Mains picked up by the leads."""

    amplitude: q.Output = needed("at the converter's input")
    frequency: q.Frequency = key("50 Hz", "of the mains", validate_default=True)


class Channel(Part):
    """What frames meet between a node and the host.  What is left out does no harm."""

    radio: Radio | None = key(None, "rate and bit errors of a radio, computed from its distance")
    cable: Cable | None = key(None, "rate and delay of a cable")
    rate: BitRate | None = key(None, "a rate alone; one of radio, cable and rate")
    other_network: OtherNetwork | None = key(None, "another network on the same channel")
    replays: q.Fraction | None = key(
        None, "frames that are followed by an earlier one, sent again by somebody"
    )
    loss: q.Fraction | None = key(None, "frames lost, each on its own")
    bursts: Bursts | None = key(None, "frames lost in bursts")
    delay: q.Lateness | None = key(None, "fixed delay")
    jitter: q.Lateness | None = key(None, "random delay on top, up to this")
    duplicates: q.Fraction | None = key(None, "frames that arrive twice")
    reordering: q.Fraction | None = key(None, "frames that a later one overtakes")
    bit_errors: q.Fraction | None = key(None, "bits that arrive wrong")


class Bursts(Part):
    """A link that is good for a while and then bad for a while (two states, decided at each frame)."""

    begin: q.Fraction = needed("chance, at each frame, that a bad spell begins")
    end: q.Fraction = needed("chance, at each frame, that it ends; the mean spell is one by this, in frames")
    loss: q.Fraction = key("100 %", "frames lost in a bad spell", validate_default=True)


class Supply(Part):
    """What feeds a node.  Below its brown-out voltage it stops; without its load a supply recovers."""

    source: Literal["mains", "battery"] = key("mains", "where it comes from")
    voltage: q.BatteryVoltage = key("12 V", "nominal, without load", validate_default=True)
    charge: q.Fraction = key("100 %", "of a battery, at the start", validate_default=True)
    lasts: q.Span | None = key(None, "how long a full battery lasts; default its charge stays")
    drop: q.BatteryVoltage = key("0.3 V", "lost on the way while the node runs", validate_default=True)
    brown_out: q.BatteryVoltage = key("9 V", "below it the node stops", validate_default=True)


class NodeFigures(Part):
    """A node's converter and clock."""

    bits: Annotated[int, Field(strict=True, ge=12, le=32)] | None = key(None, "signed; default 24")
    full_scale: q.Output | None = key(None, "bridge output at the end of the range; default 4 mV/V")
    excitation: q.Voltage | None = key(None, "default 5 V")
    common_mode_rejection: q.PositiveDecibels | None = key(
        None, "signal per volt by which both inputs lie off the middle of the excitation; default perfect"
    )
    noise: q.NoiseFigure | None = key(None, "'12 counts' or '20 nV/√Hz'; default 20 nV/√Hz")
    pickup: Pickup | None = key(None, "mains on the input; default none")
    filter: Filter | None = key(None, "digital filter; default none")
    skew: q.Lateness | None = key(
        None, "channels are converted one after the other, each so much before the next; default at once"
    )
    offset: q.SignedOutput | None = key(None, "what it reads with its input shorted; default 0")
    warmer: q.Warmer | None = key(None, "than the site; default 0 K")
    reference_effect: q.PerKelvin | None = key(None, "temperature effect on its reference; default 0")
    clock_effect: q.PerKelvin | None = key(None, "temperature effect on its clock; default 0")
    supply: Supply | None = key(None, "what feeds it; default mains")
    clock_error: q.ClockError | None = key(None, "positive runs fast; default 0 ppm")
    firmware: Annotated[str, Field(strict=True, pattern=r"^\d{1,3}\.\d{1,3}$")] | None = key(
        None, "its version, in quotes, '1.0'"
    )


class OneNode(NodeFigures):
    """One node, and what is different about it."""

    address: Address | None = key(None, "where the host expects it; default its place in the list")
    cells: Annotated[list[CellNumber], Field(min_length=1, max_length=4)] | None = key(
        None, "cells on its channels, in channel order; default the next four"
    )
    channels: Annotated[int, Field(strict=True, ge=1, le=4)] | None = key(None, "it says it has; default 4")
    strap: Address | None = key(None, "address set on it; default its address")
    network: Network | None = key(None, "network set on it; default the link's")
    pairing_key: Word | None = key(None, "default the link's")
    serial: Annotated[int, Field(strict=True, ge=1, le=2**63 - 1)] | None = key(None, "its own number")
    link: Channel | None = key(None, "what its frames meet, instead of what the link says")


class Stranger(Part):
    """A node that is on the air but belongs to no cell of this scale."""

    strap: Address = needed("the address set on it")
    network: Network | None = key(None, "default the link's")
    pairing_key: Word | None = key(None, "default the link's")
    channels: Annotated[int, Field(strict=True, ge=1, le=4)] = key(4, "it says it has")
    serial: Annotated[int, Field(strict=True, ge=1, le=2**63 - 1)] | None = key(None, "its own number")


class Nodes(NodeFigures):
    """All nodes: one for every four cells, addresses from 1, unless they are listed."""

    rate: q.Frequency = key("80 Hz", "samples a second, whole and the same for all", validate_default=True)
    each: Annotated[list[OneNode], Field(min_length=1, max_length=16)] | None = key(None, "one by one")
    strangers: Annotated[list[Stranger], Field(max_length=8)] = key([], "further nodes within hearing")


class Link(Channel):
    """The node link."""

    network: Network = key(1, "network number of host and nodes")
    pairing_key: Word = key("benchsim", "words that both ends make their pairing key from")
    samples_per_frame: Annotated[int, Field(strict=True, ge=1, le=80)] = key(8, "k")
    silence: q.Waiting = key("1 s", "a node is lost after this much silence", validate_default=True)
    beat: q.Waiting = key("1 s", "between two beats of a quiet end", validate_default=True)
    expected: Expectation | None = key(None, "what the host is told of its scale; default what is wired")
    pair_at_start: q.OnOff = key("on", "whether the host pairs by itself at once", validate_default=True)


class Host(Part):
    """The reference host's settings."""

    updates: Annotated[int, Field(strict=True, ge=1, le=100)] = key(10, "indications a second")
    averaging: q.Lateness = key("400 ms", "length of the mean that is shown", validate_default=True)
    waiting: q.Waiting = key("1 s", "how long a gap is waited for", validate_default=True)
    zero_tracking: q.OnOff = key("on", "automatic zero-tracking", validate_default=True)
    initial_zero: q.OnOff = key("on", "initial zero-setting at the start", validate_default=True)


class Wind(Part):
    """Wind over the deck, in gusts."""

    speed: q.Speed = needed("its mean")
    turbulence: q.Fraction = key("20 %", "standard deviation over mean", validate_default=True)
    height: q.Length = key("2 m", "of the deck above ground; lower gusts are quicker", validate_default=True)
    lift_area: q.Area = key(
        "4 m2", "area of the deck times its coefficient of lift; negative presses down", validate_default=True
    )


class Vibration(Part):
    """A floor that trembles up and down."""

    acceleration: q.Acceleration = needed("RMS")
    frequency: q.Frequency = needed("in the middle of its band")
    bandwidth: q.TremorBandwidth = key("1 Hz", "of half power; 0 is one steady wave", validate_default=True)


class Site(Part):
    """Where the scale stands."""

    temperature: q.Temperature = key("20 °C", "of the cells", validate_default=True)
    gravity: q.Gravity | None = key(
        None, "where it is used; default by latitude and height, or 9.80665 m/s2 where neither is given"
    )
    latitude: q.Angle | None = key(None, "of where it is used, instead of gravity; height alone: 45 °")
    height: q.Height | None = key(None, "of where it is used above the sea; default 0 m")
    calibration_gravity: q.Gravity | None = key(None, "where it was calibrated; default where it is used")
    calibration_latitude: q.Angle | None = key(None, "instead of calibration gravity")
    calibration_height: q.Height | None = key(None, "of where it was calibrated; default 0 m")
    wind: Wind | None = key(None, "over the deck; default none")
    vibration: Vibration | None = key(None, "of the floor; default none")


class Instrument(Part):
    """What the host says of itself when it is asked."""

    model: Word = key("BENCH-1", "model", max_length=25)
    kind: Word = key("platform", "kind of scale", max_length=15)
    revision: Word = key("1.0", "revision", max_length=25)
    serial: Word = key("SIM-0001", "serial number", max_length=25)


class File(Part):
    """A benchsim scenario: a scale, what happens to it, and what must hold."""

    title: Word = needed("what it shows, in one line")
    about: Annotated[str, Field(strict=True, max_length=5000)] = key("", "more about it, for people")
    seed: Annotated[int, Field(strict=True, ge=0, le=MAX_SEED)] = key(1, "of every random stream")
    lasts: q.Span | None = key(None, "length of a run; default a moment past the last thing that happens")
    scale: Scale = needed("the scale as a whole")
    cells: Cells = key(Cells(), "the load cells")
    nodes: Nodes = key(Nodes(), "the digitising nodes")
    link: Link = key(Link(), "the node link")
    host: Host = key(Host(), "the reference host's settings")
    rules: Word = key("r76-iii", "a rule profile by name, or the path of one from this file's folder")
    site: Site = key(Site(), "where the scale stands")
    instrument: Instrument = key(Instrument(), "what the host says of itself")
    outputs: Annotated[list[Word], Field(min_length=1, max_length=8)] = key(
        ["scp0499"], "host protocols served when live"
    )
    timeline: Annotated[list[Step], Field(max_length=20_000)] = key([], "what happens, in order of time")
    checks: Annotated[list[Word], Field(max_length=2_000)] = key([], "what must hold, one sentence each")
