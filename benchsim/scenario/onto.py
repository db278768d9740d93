"""The loads of a timeline to commands: what is put on, driven, walked, filled, moved about in a shift test.

Loads are followed by name: what was never put on cannot be moved.  What leaves by itself frees its name at a
time that only the run knows, so its name is not held against a later item.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from benchsim.ground import commands as ask
from benchsim.ground.errors import BadInput, unknown
from benchsim.scale.designs import Design, design
from benchsim.scenario import story
from benchsim.scenario.layout import off_line_m, place_on
from benchsim.scenario.quantities import Spot
from benchsim.scenario.stage import Stage
from benchsim.scenario.text import Loc

Single = (
    story.PlaceItem
    | story.MoveItem
    | story.RemoveItem
    | story.DriveItem
    | story.WalkItem
    | story.FillItem
    | story.DischargeItem
    | story.RoamItem
)
LoadItem = Single | story.ShiftTestItem
LOADS = (
    story.PlaceItem, story.MoveItem, story.RemoveItem, story.DriveItem, story.WalkItem, story.FillItem,
    story.DischargeItem, story.RoamItem, story.ShiftTestItem,
)  # fmt: skip


def loaded(item: LoadItem, loc: Loc, stage: Stage) -> Iterator[tuple[int, ask.SiteCommand]]:
    """What an item asks of the site, each with its time."""
    if isinstance(item, story.ShiftTestItem):
        yield from _shift_test(item, loc, stage)
    else:
        yield item.at, _load(item, loc, stage)


def _load(item: Single, loc: Loc, stage: Stage) -> ask.SiteCommand:
    """What an item asks of the site."""
    match item:
        case story.PlaceItem():
            _free(item.name, (*loc, "name"), stage)
            stage.on[item.name] = False
            return ask.Place(
                item.name, float(item.place), *_on_deck(item.position, (*loc, "position"), stage)
            )
        case story.MoveItem():
            _known(item.move, (*loc, "move"), stage)
            return ask.Move(item.move, *_on_deck(item.position, (*loc, "position"), stage))
        case story.RemoveItem():
            _known(item.remove, (*loc, "remove"), stage)
            stage.on.pop(item.remove, None)
            stage.bulk.discard(item.remove)
            return ask.Remove(item.remove)
        case story.DriveItem():
            _free(item.drive, (*loc, "drive"), stage)
            stage.on[item.drive] = item.stands is not None
            return _drive(item, loc, stage)
        case _:
            return _by_itself(item, loc, stage)


def _by_itself(
    item: story.WalkItem | story.FillItem | story.DischargeItem | story.RoamItem, loc: Loc, stage: Stage
) -> ask.SiteCommand:
    """What moves by itself."""
    match item:
        case story.WalkItem():
            _free(item.walk, (*loc, "walk"), stage)
            stage.on[item.walk] = True
            return _walk(item, loc, stage)
        case story.RoamItem():
            _free(item.roam, (*loc, "roam"), stage)
            stage.on[item.roam] = False
            at_m = _on_deck(item.position, (*loc, "position"), stage)
            return ask.Roam(
                item.roam, float(item.mass), *at_m, reach_m=float(item.reach), restless=float(item.restless)
            )
        case story.FillItem():
            return _fill(item, loc, stage)
        case story.DischargeItem():
            _known(item.discharge, (*loc, "discharge"), stage)
            if item.discharge in stage.on and item.discharge not in stage.bulk and stage.whole:
                stage.findings.add(
                    (*loc, "discharge"),
                    f"{item.discharge!r} was not filled",
                    "only bulk material is discharged",
                )
            most = None if item.mass is None else float(item.mass)
            return ask.Discharge(item.discharge, float(item.rate), most)


def _walk(item: story.WalkItem, loc: Loc, stage: Stage) -> ask.Walk:
    deck = stage.receptor
    lane_m = item.lane if item.lane is not None else deck.width_m / 2
    if not 0 <= lane_m <= deck.width_m:
        stage.findings.add(
            (*loc, "lane"), f"lane: {lane_m:g} m lies outside the receptor", f"from 0 m to {deck.width_m:g} m"
        )
    else:
        farthest_m = max((0.0, deck.length_m), key=lambda x_m: round(off_line_m(deck, x_m, lane_m), 6))
        _no_tipping(farthest_m, lane_m, (*loc, "lane"), stage)
    over_s = deck.length_m / float(item.speed)
    stage.ends_us = max(stage.ends_us, item.at + math.ceil(over_s * 1e6))
    return ask.Walk(item.walk, float(item.mass), lane_m, float(item.speed), float(item.pace))


def _fill(item: story.FillItem, loc: Loc, stage: Stage) -> ask.Fill:
    if item.fill not in stage.bulk:
        _free(item.fill, (*loc, "fill"), stage)
    stage.on[item.fill] = False
    stage.bulk.add(item.fill)
    x_m, y_m = _on_deck(item.position, (*loc, "position"), stage)
    dribble_kg = float(item.dribble or 0)
    if dribble_kg > item.mass:
        stage.findings.add(
            (*loc, "dribble"), f"dribble: {dribble_kg:g} kg of {float(item.mass):g} kg", "a part of the mass"
        )
    if dribble_kg and item.dribble_rate is None:
        stage.findings.add((*loc, "dribble"), "dribble without dribble rate", "say both", key=True)
    if item.dribble_rate is not None and not dribble_kg:
        stage.findings.add((*loc, "dribble rate"), "dribble rate without dribble", "say both", key=True)
    slow = float(item.dribble_rate or item.rate)
    lasts_s = (float(item.mass) - dribble_kg) / float(item.rate) + dribble_kg / slow
    stage.ends_us = max(stage.ends_us, item.at + math.ceil(lasts_s * 1e6))
    return ask.Fill(
        item.fill, float(item.mass), float(item.rate), x_m, y_m, float(item.falls), dribble_kg,
        slow if dribble_kg else 0.0,
    )  # fmt: skip


def _shift_test(item: story.ShiftTestItem, loc: Loc, stage: Stage) -> Iterator[tuple[int, ask.SiteCommand]]:
    """A weight put on place after place and taken off again, each with its time."""
    name = item.shift_test
    _free(name, (*loc, "shift test"), stage)
    spots_m = _spots(item, loc, stage)
    for number, at_m in enumerate(spots_m):
        command = ask.Move(name, *at_m) if number else ask.Place(name, float(item.mass), *at_m)
        yield item.at + number * item.each, command
    ends_us = item.at + len(spots_m) * item.each
    stage.ends_us = max(stage.ends_us, ends_us)
    stage.on.pop(name, None)
    yield ends_us, ask.Remove(name)


def _spots(item: story.ShiftTestItem, loc: Loc, stage: Stage) -> list[tuple[float, float]]:
    deck = stage.receptor
    if isinstance(item.over, list):
        return [_on_deck(spot, (*loc, "over", number), stage) for number, spot in enumerate(item.over)]
    if item.over == "cells":
        return [(s.x_m, s.y_m) for s in deck.supports]
    if item.over == "quarters":  # R 76-1 A.4.7: up to four supports, the four quarters (memory)
        return [
            (deck.length_m * u, deck.width_m * v)
            for u, v in ((0.25, 0.25), (0.25, 0.75), (0.75, 0.75), (0.75, 0.25))
        ]
    rows: dict[float, list[float]] = {}
    for support in deck.supports:
        rows.setdefault(round(support.x_m, 3), []).append(support.y_m)
    return [(x_m, math.fsum(across) / len(across)) for x_m, across in sorted(rows.items())]


def _free(name: str, loc: Loc, stage: Stage) -> None:
    if stage.on.get(name) is False and stage.whole:
        stage.findings.add(
            loc, f"a load named {name!r} is on the receptor already", "give this one another name"
        )


def _known(name: str, loc: Loc, stage: Stage) -> None:
    if name not in stage.on and stage.whole:
        right = unknown("load", name, stage.on).right if stage.on else "none is on the receptor"
        stage.findings.add(loc, f"unknown load {name!r}", right)


def _on_deck(spot: Spot, loc: Loc, stage: Stage) -> tuple[float, float]:
    deck = stage.receptor
    if spot.cell is not None and not 1 <= spot.cell <= len(deck.supports):
        stage.findings.add(loc, f"there is no cell {spot.cell}", f"cells 1 to {len(deck.supports)}")
    x_m, y_m = place_on(spot, deck)
    if not (0 <= x_m <= deck.length_m and 0 <= y_m <= deck.width_m):
        stage.findings.add(
            loc, f"{x_m:g} m, {y_m:g} m lies outside the receptor",
            f"from 0 m, 0 m to {deck.length_m:g} m, {deck.width_m:g} m",
        )  # fmt: skip
    else:
        _no_tipping(x_m, y_m, loc, stage)
    return x_m, y_m


def _no_tipping(x_m: float, y_m: float, loc: Loc, stage: Stage) -> None:
    if off_m := off_line_m(stage.receptor, x_m, y_m):
        stage.findings.add(
            loc, f"{x_m:g} m, {y_m:g} m lies {off_m:.3g} m beside the line of all cells: the deck would tip",
            "put loads on that line, or the cells around the loads",
        )  # fmt: skip


def _drive(item: story.DriveItem, loc: Loc, stage: Stage) -> ask.Drive:
    deck = stage.receptor
    own, axles = _vehicle(item, loc, stage)
    base_m = axles[-1].behind_m
    alone = item.deck_begins is None
    if alone and base_m > deck.length_m:
        stage.findings.add(
            (*loc, "axles" if item.axles else "kind"),
            f"the vehicle needs {base_m:g} m between its first and last axle",
            f"the receptor is {deck.length_m:g} m long",
        )
    if not alone and item.stop is None:
        stage.findings.add(
            (*loc, "deck begins"), "deck begins without stop", "say where along its way it stops", key=True
        )
    stop_m = item.stop if item.stop is not None else (deck.length_m + base_m) / 2
    lane_m = item.lane if item.lane is not None else deck.width_m / 2
    bounds = [("stop", stop_m, deck.length_m)] if alone else []
    for name, value_m, most_m in (*bounds, ("lane", lane_m, deck.width_m)):
        if not 0 <= value_m <= most_m and (base_m <= deck.length_m or not alone):
            stage.findings.add(
                (*loc, name), f"{name}: {value_m:g} m lies outside the receptor", f"from 0 m to {most_m:g} m"
            )
    if (0 <= stop_m <= deck.length_m or not alone) and 0 <= lane_m <= deck.width_m:
        axle_m = max((0.0, deck.length_m), key=lambda x_m: round(off_line_m(deck, x_m, lane_m), 6))
        _no_tipping(axle_m, lane_m, (*loc, "lane"), stage)
    speed = float(item.speed)
    begins_m = None if item.deck_begins is None else float(item.deck_begins)
    way_m = 2 * deck.length_m + 2 * base_m + (0.0 if begins_m is None else begins_m + stop_m)
    gone_s = way_m / speed + 2 * speed / float(item.acceleration) + (item.stands or 0) / 1e6
    stage.ends_us = max(stage.ends_us, item.at + math.ceil(gone_s * 1e6))
    return ask.Drive(
        item.drive, axles, speed, stop_m, lane_m, item.stands, float(item.acceleration),
        springs_hz=_figure(item.springs, own.springs_hz if own else 0.0),
        springs_damping=_figure(item.spring_damping, own.springs_damping if own else 0.15),
        centre_height_m=_figure(
            item.centre_height, own.centre_height_m(float(item.load or 0)) if own else 0.0
        ),
        edge_step_m=float(item.edge),
        begins_m=begins_m,
    )  # fmt: skip


def _figure(given: object, default: float) -> float:
    return default if given is None else float(given)  # type: ignore[arg-type]


def _vehicle(item: story.DriveItem, loc: Loc, stage: Stage) -> tuple[Design | None, tuple[ask.Axle, ...]]:
    """Its design, if it is one of the library's, and its axles."""
    if item.axles is not None:
        for key in ("kind", "load"):
            if getattr(item, key) is not None:
                stage.findings.add(
                    (*loc, key), f"{key} beside axles", "keep kind and load, or axles", key=True
                )
        return None, tuple(_axles(item.axles, loc, stage))
    if item.kind is None:
        stage.findings.add(
            (*loc, "drive"), "a vehicle without axles or kind", "add kind: lorry, or its axles"
        )
        return None, (ask.Axle(1.0, 0.0),)
    load_kg = float(item.load or 0)
    try:
        own = design(item.kind, load_kg)
    except BadInput as error:
        stage.findings.add(
            (*loc, "load" if error.found.startswith("a ") else "kind"), error.found, error.right
        )
        return None, (ask.Axle(1.0, 0.0),)
    return own, own.axles_with(load_kg)


def _axles(groups: list[story.AxleGroup], loc: Loc, stage: Stage) -> Iterator[ask.Axle]:
    last_m = -1.0
    for index, group in enumerate(groups):
        behind_m = float(group.behind)
        here: Loc = (*loc, "axles", index)
        if index == 0 and behind_m:
            stage.findings.add(
                (*here, "behind"), f"behind: {behind_m:g} m for the first axle", "leave it out"
            )
        elif behind_m <= last_m:
            stage.findings.add(
                (*here, "behind"), f"behind: {behind_m:g} m is not behind the axles before it",
                f"more than {last_m:g} m from the first axle",
            )  # fmt: skip
        for number in range(group.axles):
            last_m = round(behind_m + number * float(group.spacing), 6)
            yield ask.Axle(float(group.mass) / group.axles, last_m)
