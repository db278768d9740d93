"""The items of a timeline: at a time, one thing that is done.  The item's own key says which.

Loads (place, move, remove, drive, walk, fill, discharge, roam, shift test), commands to the instrument,
faults, acts on the link, and a client that asks.  What an item becomes stands in timeline.py and onto.py.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from benchsim.scenario import quantities as q
from benchsim.scenario.expectation import Expectation

LoadName = Annotated[str, Field(strict=True, min_length=1, max_length=80)]
FaultKey = Annotated[str, Field(strict=True, min_length=1, max_length=80)]
AtAddress = Annotated[str, Field(strict=True, pattern=r"^(all|address \d{1,2})$")]
OneAddress = Annotated[str, Field(strict=True, pattern=r"^address \d{1,2}$")]


def _key(name: str) -> str:
    return name.rstrip("_").replace("_", " ")


class _Item(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=_key, allow_inf_nan=False)
    at: q.Time = Field(description="when, from the start of the run")


class _Again(_Item):
    """An item that may be done again and again."""

    every: q.Span | None = Field(None, description="do it again each time this has passed, with until or for")
    until: q.Time | None = Field(None, description="the last time it may be done")
    for_: q.Span | None = Field(None, description="instead of until: how long")


class PlaceItem(_Item):
    """Put a load on."""

    place: q.Mass = Field(description="its mass")
    name: LoadName = Field(description="its name, to move or remove it")
    position: q.Position = Field(q.Spot(), description="default the middle of the receptor")


class MoveItem(_Item):
    """Move a load that is on the receptor."""

    move: LoadName = Field(description="its name")
    position: q.Position = Field(description="where to")


class RemoveItem(_Item):
    """Take a load off, or a vehicle away."""

    remove: LoadName = Field(description="its name")


class AxleGroup(BaseModel):
    """One axle, or several that share a mass."""

    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=_key, allow_inf_nan=False)
    mass: q.Mass = Field(description="of the whole group")
    behind: q.Distance = Field("0 m", description="its first axle, behind the first", validate_default=True)
    axles: Annotated[int, Field(strict=True, ge=1, le=8)] = Field(1, description="how many share the mass")
    spacing: q.Length = Field("1.3 m", description="between axles of the group", validate_default=True)


class DriveItem(_Item):
    """A vehicle drives on, stands and drives off over the far end."""

    drive: LoadName = Field(description="its name")
    axles: Annotated[list[AxleGroup], Field(min_length=1, max_length=20)] | None = Field(
        None, description="front first; or kind"
    )
    kind: Annotated[str, Field(strict=True, min_length=1, max_length=80)] | None = Field(
        None, description="a vehicle of the library instead of axles"
    )
    load: q.DeadLoad | None = Field(None, description="what a vehicle of the library carries; default empty")
    speed: q.Speed = Field("5 km/h", description="at which it drives on and off", validate_default=True)
    acceleration: q.Acceleration = Field("0.5 m/s2", description="of braking, too", validate_default=True)
    stop: q.AlongDeck = Field("centred", description="where its first axle stops", validate_default=True)
    lane: q.AlongDeck = Field("centred", description="its middle, across", validate_default=True)
    stands: q.Span | None = Field(None, description="for how long; default until it is removed")
    springs: q.SpringFrequency | None = Field(
        None, description="of its body on its axles; default the kind's, 0 Hz (stiff) for axles"
    )
    spring_damping: q.SpringDamping | None = Field(None, description="default the kind's, else 15 %")
    centre_height: q.CentreHeight | None = Field(
        None, description="of its mass above ground: braking shifts load; default the kind's, 0 m for axles"
    )
    edge: q.SupportHeight = Field(
        "0 mm", description="deck above road: a bump to each axle that comes on", validate_default=True
    )
    deck_begins: q.Distance | None = Field(
        None,
        description="how far along its way this deck begins, for one of several decks; stop is of its way",
    )


class WalkItem(_Item):
    """Somebody walks over the receptor, along it."""

    walk: LoadName = Field(description="the name")
    mass: q.Mass = Field("80 kg", description="mass", validate_default=True)
    speed: q.Speed = Field("5 km/h", description="speed", validate_default=True)
    pace: q.Pace = Field("1.9 Hz", description="steps a second", validate_default=True)
    lane: q.AlongDeck = Field("centred", description="where, across", validate_default=True)


class FillItem(_Item):
    """Bulk material runs onto the receptor, or more of it onto what is there under that name."""

    fill: LoadName = Field(description="its name, to discharge or remove it")
    mass: q.Mass = Field(description="how much in all")
    rate: q.MassRate = Field(description="how fast")
    falls: q.Distance = Field("0 m", description="how deep it falls", validate_default=True)
    dribble: q.Mass | None = Field(None, description="how much of it, at the end, comes slowly; default none")
    dribble_rate: q.MassRate | None = Field(None, description="how slowly; needed with dribble")
    position: q.Position = Field(q.Spot(), description="default the middle of the receptor")


class DischargeItem(_Item):
    """Bulk material runs out again."""

    discharge: LoadName = Field(description="its name")
    rate: q.MassRate = Field(description="how fast")
    mass: q.Mass | None = Field(None, description="how much; default all of it")


class RoamItem(_Item):
    """An animal comes on and moves about until it is removed."""

    roam: LoadName = Field(description="its name")
    mass: q.Mass = Field(description="its mass")
    position: q.Position = Field(q.Spot(), description="about where; default the middle of the receptor")
    reach: q.Distance = Field(
        "0.4 m", description="standard deviation of where it is, each way", validate_default=True
    )
    restless: q.Fraction = Field(
        "5 %",
        description="standard deviation of what its moves press with, of its weight",
        validate_default=True,
    )


class ShiftTestItem(_Item):
    """A weight is put on place after place of the receptor and taken off again."""

    shift_test: LoadName = Field(description="the weight's name")
    mass: q.Mass = Field(description="its mass")
    over: (
        Literal["cells", "quarters", "sections"]
        | Annotated[list[q.Position], Field(min_length=1, max_length=100)]
    ) = Field("cells", description="which places: each cell, the four quarters, each section, or a list")
    each: q.Span = Field("10 s", description="how long in each place", validate_default=True)


class CommandItem(_Again):
    """Something is asked of the instrument."""

    command: Literal["zero", "tare", "preset tare", "clear tare", "record"] = Field(description="what")
    value: q.DeadLoad | None = Field(None, description="of a preset tare, which needs it")


class FaultItem(_Item):
    """A fault of the catalogue begins (`benchsim faults` lists them)."""

    fault: Annotated[str, Field(strict=True, min_length=1)] = Field(description="its name")
    on: Annotated[str, Field(strict=True, pattern=r"^(all|(cell|node) \d{1,2})$")] = Field(
        "all", description="which cell or node; default all that it can act on"
    )
    as_: FaultKey | None = Field(None, description="a name, to end it by; default the fault's own")
    until: q.Time | None = Field(None, description="when it ends; default never")
    for_: q.Span | None = Field(None, description="instead of until: how long")
    with_: dict[str, str | int | float] = Field({}, description="the fault's own figures")
    growing: q.Span | None = Field(
        None, description="how long it takes from nothing to all of it; default all at once"
    )
    every: q.Span | None = Field(
        None, description="it strikes again each time this has passed, with lasting, and until or for"
    )
    rate: q.Occurrence | None = Field(
        None, description="instead of every: it strikes at random, so often on average, as '6 /h'"
    )
    lasting: q.Span | None = Field(None, description="how long each strike lasts, with every or rate")


class EndFaultItem(_Item):
    """A fault ends."""

    end_fault: FaultKey = Field(description="the name it was given, or the fault's own")


class PairItem(_Item):
    """The host is told to pair."""

    pair: AtAddress = Field(description="all, or one address")


class ReleaseItem(_Item):
    """The host lets a node go in good order."""

    release: OneAddress = Field(description="the address")


class RecommissionItem(_Item):
    """The deliberate act at a node that makes it forget its host."""

    recommission: OneAddress = Field(description="the address set on the node")


class ExpectItem(_Item):
    """The host is told anew which cells and addresses it has; then it has to be asked to pair."""

    expect: Expectation = Field(description="cells and addresses, as under link: expected")


class AskItem(_Again):
    """A client of a host protocol sends; what comes back can be checked."""

    ask: LoadName = Field(description="the protocol, as scp0499")
    send: Annotated[str, Field(strict=True, min_length=1, max_length=4096)] = Field(
        description='what is sent, in double quotes with escapes, as "\\nW\\r"'
    )


ITEMS: dict[str, type[BaseModel]] = {
    "place": PlaceItem,
    "move": MoveItem,
    "remove": RemoveItem,
    "drive": DriveItem,
    "walk": WalkItem,
    "fill": FillItem,
    "discharge": DischargeItem,
    "roam": RoamItem,
    "shift test": ShiftTestItem,
    "command": CommandItem,
    "fault": FaultItem,
    "end fault": EndFaultItem,
    "pair": PairItem,
    "release": ReleaseItem,
    "recommission": RecommissionItem,
    "expect": ExpectItem,
    "ask": AskItem,
}


def verb_of(item: Any) -> str | None:
    """Which kind of item this is: the first key that is an action."""
    if isinstance(item, dict):
        return next((key for key in item if key in ITEMS), None)
    return None


Step = Annotated[
    Annotated[PlaceItem, Tag("place")]
    | Annotated[MoveItem, Tag("move")]
    | Annotated[RemoveItem, Tag("remove")]
    | Annotated[DriveItem, Tag("drive")]
    | Annotated[WalkItem, Tag("walk")]
    | Annotated[FillItem, Tag("fill")]
    | Annotated[DischargeItem, Tag("discharge")]
    | Annotated[RoamItem, Tag("roam")]
    | Annotated[ShiftTestItem, Tag("shift test")]
    | Annotated[CommandItem, Tag("command")]
    | Annotated[FaultItem, Tag("fault")]
    | Annotated[EndFaultItem, Tag("end fault")]
    | Annotated[PairItem, Tag("pair")]
    | Annotated[ReleaseItem, Tag("release")]
    | Annotated[RecommissionItem, Tag("recommission")]
    | Annotated[ExpectItem, Tag("expect")]
    | Annotated[AskItem, Tag("ask")],
    Discriminator(verb_of),
]
