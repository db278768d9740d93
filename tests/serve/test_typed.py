"""What may be typed at a live scale, and what is said of what may not."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.ground import commands as ask
from benchsim.ground.errors import BadInput
from benchsim.serve.typed import FORMS, Help, Quit, Typed, read
from tests.serve.small_bench import DECK

AXLES_KG = (6_800.0, 10_900.0, 18_600.0)


def drive(*behind_m: float, name: str = "truck", km_per_h: float = 5.0) -> ask.Drive:
    """To the middle of the 18 m deck, across as well."""
    axles = tuple(map(ask.Axle, AXLES_KG, behind_m))
    return ask.Drive(name, axles, km_per_h / 3.6, (18.0 + behind_m[-1]) / 2, 1.5)


MEANT: list[tuple[str, Typed | None]] = [
    ("place block 18.4 t at 9 m 1.5 m", ask.Place("block", 18_400.0, 9.0, 1.5)),
    ("  place  block 18.4t  at 9m, 150 cm ", ask.Place("block", 18_400.0, 9.0, 1.5)),
    ('place "block 2" 1 t over cell 3', ask.Place("block 2", 1_000.0, 9.0, 0.3)),
    ('place "3 at 1 m 1 m" 1 t', ask.Place("3 at 1 m 1 m", 1_000.0, 9.0, 1.5)),
    ('place "no # 4" 1 t # a note', ask.Place("no # 4", 1_000.0, 9.0, 1.5)),
    ("place blue block 1 t", ask.Place("blue block", 1_000.0, 9.0, 1.5)),
    ("place block2 1 t", ask.Place("block2", 1_000.0, 9.0, 1.5)),
    ('move "block 2" over 6', ask.Move("block 2", 17.7, 2.7)),
    ("move block 2 over 6", ask.Move("block 2", 17.7, 2.7)),
    ('remove "block 2"', ask.Remove("block 2")),
    ('end "wet"', ask.EndFault("wet")),
    ("PLACE block 500 kg", ask.Place("block", 500.0, 9.0, 1.5)),
    ("move block to 1 m 2 m", ask.Move("block", 1.0, 2.0)),
    ("move block over 6", ask.Move("block", 17.7, 2.7)),
    ("remove block 2", ask.Remove("block 2")),
    ("drive truck 6.8 t 10.9 t 18.6 t at 5 km/h", drive(0, 4, 8)),
    ("drive truck 6.8t, 10900 kg, 18.6 t", drive(0, 4, 8)),
    ("drive red truck 6.8 t 10.9 t 18.6 t", drive(0, 4, 8, name="red truck")),
    ('drive "truck 7" 6.8 t 10.9 t 4 m 18.6 t 910 cm', drive(0, 4, 9.1, name="truck 7")),
    ("fault wet-connector on 3", ask.StartFault("wet-connector", "wet-connector", 3)),
    ("fault mud", ask.StartFault("mud", "mud")),
    (
        "fault wet-connector on cell 3 with resistance 5 Mohm, terminal SIG- as wet",
        ask.StartFault("wet", "wet-connector", 3, {"resistance_ohm": 5e6, "terminal": "SIG-"}),
    ),
    ("fault outage on node 1 with direction: up", ask.StartFault("outage", "outage", 1, {"direction": "up"})),
    ("end wet", ask.EndFault("wet")),
    ("zero", ask.Zero()),
    ("tare", ask.Tare()),
    ("preset tare 1.2 t", ask.PresetTare(Decimal(1200))),
    ("clear tare", ask.ClearTare()),
    ("record  # a ticket", ask.Record()),
    ("pair all", ask.Pair()),
    ("pair 2", ask.Pair(2)),
    ("release 2", ask.Release(2)),
    ("recommission node 2", ask.Recommission(2)),
    ("quit", Quit()),
    ("help", Help()),
    ("", None),
    ("# a note", None),
]


@pytest.mark.parametrize(("line", "meant"), MEANT)
def test_a_line_is_the_command_that_it_says(line: str, meant: Typed | None) -> None:
    assert read(line, DECK) == meant


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("plce block 1 t", "unknown command 'plce'; did you mean 'place'?"),
        ("place block", "'place block' is not a whole command; write place block 18.4 t at 9 m 1.5 m"),
        ("place block 18.4 at 9 m 1 m", "'18.4' has no unit; write a mass, as '18.4 kg'"),
        ("place block 1 m at 9 m 1 m", "'1 m' is a length, not a mass"),
        ("place block 1 t at 9 1", "'9' has no unit; write a length"),
        ("place block 1 t at the end", "'the end' is not a place"),
        ("place block 1 t over cell 7", "there is no 'cell 7' to put it over; cell 1 to cell 6"),
        (
            "place block 1 500 kg",
            "'block 1 500 kg' can be read in more than one way; write place \"block 1\" 500 kg for a load of",
        ),
        ("place 1 500 kg", "a mass has no space inside: 1500 kg"),
        ("place block 2 t 500 kg", "more than one way"),
        ("place block -1 500 kg over 2", "more than one way"),
        ('place "block 1 500 kg', "is not a whole command"),
        ('place "" 500 kg', "is not a whole command"),
        ('place "block"500 kg', "is not a whole command"),
        ('place "block" red 500 kg', "is not a whole command"),
        ('move "block 2" red to 1 m 1 m', "write move block to 9 m 1.5 m"),
        ('remove "block" 2', "write remove block"),
        ("drive truck", "write drive truck 6.8 t 10.9 t 18.6 t at 5 km/h"),
        ("drive 6.8 t 10.9 t", "is not a whole command"),
        ("drive truck 7 6.8 t", "is not a whole command"),
        ("drive truck 6.8 10.9 t", "is not a whole command"),
        ("drive truck 6.8 t 10.9 s", "'10.9 s' is a time, not a mass"),
        ("drive truck 6.8 t 4 m 9 m 10.9 t", "'9 m' is a length, not a mass"),
        ("drive truck 6.8 t 10.9 t 4 m 9 t", "or with how far each is behind the first"),
        ("drive truck 6.8 t 1 m 10.9 t 4 m", "is not a whole command"),
        ("drive truck 6.8 t at 5", "'5' has no unit"),
        ("end", "write end wet-connector"),
        ("pair 0", "write pair all (or: pair 2)"),
        ("move block", "write move block to 9 m 1.5 m"),
        ("remove", "write remove block"),
        ("fault wet-conector on 3", "unknown fault 'wet-conector'; did you mean 'wet-connector'?"),
        ("fault wet-connector on", "is not a whole command"),
        ("fault wet-connector on node 3", "does not act on a node; write on cell 1"),
        ("fault wet-connector on cell", "on which cell"),
        ("fault wet-connector with resistence 5 Mohm", "did you mean 'resistance'?"),
        ("fault wet-connector with resistance 5", "has no unit"),
        ("zero now", "zero takes nothing, but 'now' follows"),
        ("preset tare", "write preset tare 1.2 t"),
        ("preset tare 1200", "'1200' has no unit"),
        ("clear", "write clear tare"),
        ("pair nobody", "write pair all"),
    ],
)
def test_a_line_that_cannot_be_is_told_in_one_line_with_what_would_be_right(line: str, told: str) -> None:
    with pytest.raises(BadInput) as raised:
        read(line, DECK)
    assert told in str(raised.value)
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize("form", FORMS.values())
def test_what_help_shows_may_be_typed(form: str) -> None:
    assert read(form.partition(" (")[0], DECK) is not None
