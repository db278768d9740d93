"""What a person is asked to do at each step, in plain words, with what to mind while weights are lifted."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from benchsim.ground.units import mass_text
from benchsim.host.calibration_parts import Kind, Settings, Task
from benchsim.host.calibration_solve import place_text

SIMULATED = (
    "Simulated: this proves a procedure and its software, never an instrument. Local law decides what a"
    " calibration needs; adjusting, sealing and verifying a real scale is for the people licensed to do it."
)
STAND_CLEAR = (
    "Stand clear while a load is moved; never below a suspended weight, no hand between it and the deck."
)
GEAR = "Lifting gear, slings and hooks must be rated for the weight; set it down gently, on its full base."
NOBODY_ON = "Nobody stands on the deck or reaches below it while it is loaded, unloaded or read."
CHOCKED = "See that nothing on the deck can roll, tip or slide before anybody comes near."


@dataclass(frozen=True, slots=True)
class Prompt:
    """number of `of` steps, both from 1.  expects: what the deck carries when `done` is right, in words.

    load_kg, group: the same as figures.  cautions: what to mind; never empty.
    """

    number: int
    of: int
    kind: Kind
    text: str
    expects: str
    cautions: tuple[str, ...]
    load_kg: Decimal
    group: int | None


def prompt_of(task: Task, index: int, of: int, settings: Settings, first: bool) -> Prompt:
    """first: nothing was read yet."""
    expects = f"{mass_text(task.load_kg)} {place_text(task.group, settings)}, at rest"
    if task.kind is Kind.ZERO:
        expects = "an empty deck, at rest"
    return Prompt(
        index + 1, of, task.kind, _text(task, settings, first), expects, _cautions(task, settings),
        task.load_kg, task.group,
    )  # fmt: skip


def _text(task: Task, settings: Settings, first: bool) -> str:
    weights, whole = mass_text(task.weights_kg), mass_text(task.load_kg)
    where = place_text(task.group, settings)
    match task.kind:
        case Kind.ZERO:
            more = "loads, tools, stones, mud; see that it hangs free all round" if first else "all of it"
            return f"Empty the deck: {more}. Wait until it rests. The empty deck is read."
        case Kind.CORNER:
            return f"Put the test weight, {whole}, {where}. It is to show how much a count is worth there."
        case Kind.SPAN:
            return f"Put {whole} of test weights in the middle, spread evenly. They set the span."
        case Kind.SUBSTITUTE:
            return (
                "Take the test weights off and put other material on, evenly, until the scale reads as it"
                f" did with them: about {whole} in all. From now on it stands for weights."
            )
        case Kind.LINEARITY if task.level:
            return f"Leave the material where it is and put {weights} of test weights on top: {whole} in all."
        case Kind.LINEARITY:
            return (
                f"Bring the test weights on the deck to {whole}, spread evenly, without unloading it first."
            )
        case Kind.REPEAT:
            return f"Put {whole} of test weights in the middle, where they stood before; it is read again."


def _cautions(task: Task, settings: Settings) -> tuple[str, ...]:
    cautions = [STAND_CLEAR, GEAR, NOBODY_ON]
    limit_kg = settings.group_limit_kg
    if task.kind is Kind.CORNER and task.group is not None:
        limit = "see the deck's drawing for the most that one place may carry"
        if limit_kg is not None:
            limit = f"the cells there take {mass_text(limit_kg)} at most; the deck's drawing may allow less"
        cautions.append(f"Load limit of a section: {limit}.")
    if task.kind in (Kind.SUBSTITUTE, Kind.LINEARITY):
        cautions.append(CHOCKED)
    return tuple(cautions)
