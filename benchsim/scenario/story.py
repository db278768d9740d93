"""The items of a timeline: at a time, one thing that is done.  The item's own key says which.

Loads (place, move, remove, drive), commands to the instrument, faults, acts on the link, and a client that
asks.  What an item becomes stands in timeline.py.
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
    axles: Annotated[list[AxleGroup], Field(min_length=1, max_length=20)] = Field(description="front first")
    speed: q.Speed = Field("5 km/h", description="at which it drives on and off", validate_default=True)
    acceleration: q.Acceleration = Field("0.5 m/s2", description="of braking, too", validate_default=True)
    stop: q.AlongDeck = Field("centred", description="where its first axle stops", validate_default=True)
    lane: q.AlongDeck = Field("centred", description="its middle, across", validate_default=True)
    stands: q.Span | None = Field(None, description="for how long; default until it is removed")


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
