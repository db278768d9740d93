"""What the verb `calibrate` does once its options are read: settings from a scenario, then step by step."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterator, Set
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import NamedTuple, TextIO

import click

from benchsim.bench.calibrating import CalibrationBench, calibrated_plan, group_limit_kg
from benchsim.bench.plan import Plan
from benchsim.ground.commands import Drive, EndFault, Move, Place, Remove, StartFault
from benchsim.ground.errors import BadInput, BenchsimError, unknown
from benchsim.ground.units import MASS, RATIO, parse
from benchsim.host.calibration import Calibration, begin, noticed
from benchsim.host.calibration_figures import placement, weight_kg
from benchsim.host.calibration_parts import Kind, Reading, Refusal, Settings, weight_text
from benchsim.host.calibration_prompts import Prompt
from benchsim.host.calibration_results import Results, results_of
from benchsim.host.calibration_solve import Solution
from benchsim.host.calibration_tasks import sections_of, usual_points
from benchsim.host.calibration_weights import corner_wanted_kg, load_error_kg, usual_piece_kg
from benchsim.rules.profile import Profile
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load, seed_of
from benchsim.serve.typed import read as read_typed

BY_HAND = (
    "done: what is asked for is done and read.  again: the last step once more.  back: one step back.  read:"
    " take the deck as it stands, after lines of your own, as place box 500 kg over cell 2, remove box, or"
    " fault swapped-signal on 3.  quit"
)
OWN = (Place, Move, Remove, Drive, StartFault, EndFault)
OWN_WORDS = ("place", "move", "remove", "drive", "fault", "end")
KNOWN_WORDS = ("done", "again", "back", "read", "quit", "help", *OWN_WORDS)


class Words(NamedTuple):
    """The options of the verb as they were typed."""

    weight: str | None
    test_weights: str | None
    weight_class: str
    piece: str | None
    sections: str
    linearity: str | None
    repeats: int
    no_data_sheet: bool
    used_at: str | None


@dataclass(frozen=True)
class Job:
    """One calibration, ready to begin.  used_g: gravity where the scale will be used."""

    title: str
    file: str
    seed: int | str
    plan: Plan
    settings: Settings
    bench: CalibrationBench
    used_g: float


@dataclass
class Step:
    """One prompt and what came of it.  read_kg: by the data sheets, or as solved; None where neither is."""

    prompt: Prompt
    read_kg: float | None
    refusal: Refusal | None
    notes: tuple[str, ...] = ()


@dataclass
class Ended:
    """How it went.  solution: what the loads come to, also where that was refused."""

    state: Calibration
    steps: list[Step] = field(default_factory=list)
    solution: Solution | None = None
    refusal: Refusal | None = None
    results: Results | None = None

    @property
    def passed(self) -> bool:
        return self.results is not None and self.results.passed


def prepared(file: Path, seed: str | None, words: Words) -> Job:
    """Raises BadInput and ManyBadInputs for what cannot be."""
    scenario = load(file)
    own_seed = scenario.file.seed if seed is None else seed_of(seed, "--seed")
    built = assemble(scenario, own_seed)
    plan = calibrated_plan(built.plan)
    settings = _settings(plan, built.profile, words)
    begin(settings)
    load_error_kg(settings.weights_kg, settings.weight_class, settings.piece_kg)
    used_g = plan.scale.site.gravity_m_per_s2 if words.used_at is None else _gravity(words.used_at)
    bench = CalibrationBench(plan, built.profile, own_seed)
    return Job(scenario.file.title, str(scenario.path), own_seed, plan, settings, bench, used_g)


def _settings(plan: Plan, profile: Profile, words: Words) -> Settings:
    host, supports = plan.host, plan.scale.receptor.supports
    groups: tuple[tuple[int, ...], ...] = tuple((cell,) for cell in range(len(supports)))
    if words.sections == "sections":
        groups = sections_of(tuple((s.x_m, s.y_m) for s in supports))
    limit_kg = group_limit_kg(plan, groups)
    weights_kg = _mass("--test-weights", words.test_weights) or host.capacity_kg
    wanted_kg = corner_wanted_kg(host.capacity_kg, len(supports), profile) or host.capacity_kg / 3
    e_kg = host.verification_interval or host.interval
    counted_kg = e_kg if profile.limits_count_in == "e" else host.interval
    return Settings(
        capacity_kg=host.capacity_kg,
        interval_kg=host.interval,
        verification_interval_kg=host.verification_interval,
        profile=profile,
        groups=groups,
        places=tuple((seat.address, seat.channel) for seat in host.seats),
        corner_kg=_mass("--weight", words.weight) or min(-(-wanted_kg // e_kg) * e_kg, limit_kg, weights_kg),
        weights_kg=weights_kg,
        sheet=None if words.no_data_sheet else tuple(seat.kg_per_count for seat in host.seats),
        points_kg=_points(words.linearity, host.capacity_kg, counted_kg, profile),
        repeats=words.repeats,
        weight_class=words.weight_class,
        piece_kg=_mass("--piece", words.piece) or usual_piece_kg(weights_kg),
        group_limit_kg=limit_kg,
    )


def _mass(option: str, word: str | None) -> Decimal | None:
    if word is None:
        return None
    try:
        mass_kg = parse(word, MASS)
    except BadInput as error:
        raise BadInput(f"{option}: {error.found}", error.right) from None
    if mass_kg <= 0:
        raise BadInput(f"{option}: {word!r} is no mass to put on", "more than 0 kg")
    return mass_kg


def _points(
    word: str | None, capacity_kg: Decimal, counted_kg: Decimal, profile: Profile
) -> tuple[Decimal, ...]:
    if word is None:
        return usual_points(capacity_kg, counted_kg, profile)
    if word.strip() == "none":
        return ()
    points = []
    for item in word.split(","):
        try:
            share = item.strip().endswith("%")
            points.append(parse(item, RATIO) * capacity_kg if share else parse(item, MASS))
        except BadInput as error:
            right = "loads with commas: 20 t, 40 t, or parts of Max: 50 %, 100 %, or none"
            raise BadInput(f"--linearity: {error.found}", right) from None
    return tuple(sorted(set(points)))


def _gravity(word: str) -> float:
    match = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*m/s[2²]\s*", word)
    if match is None:
        raise BadInput(f"--used-at: {word!r} is no gravity", "a number and a unit, as 9.7803 m/s2")
    return float(match[1])


# -- step after step -----------------------------------------------------------------------------------


def by_itself(job: Job, quiet: bool) -> Ended:
    """The bench does what each prompt asks for; the first refusal ends it."""
    ended = Ended(begin(job.settings))
    told: set[str] = set()
    while (prompt := ended.state.prompt()) is not None and ended.refusal is None:
        if not quiet:
            tell(prompt, told)
            told.update(prompt.cautions)
        job.bench.carry_out(ended.state)
        step = _take(job, ended, prompt, job.bench.read())
        if not quiet:
            _tell_read(job, step)
    return _closed(job, ended)


def guided(job: Job) -> Ended:
    """A person says when; what is refused can be mended and done again."""
    ended = Ended(begin(job.settings))
    click.echo(BY_HAND)
    _tell_next(ended)
    for line in _lines():
        match line:
            case "quit":
                break
            case "help":
                click.echo(BY_HAND)
            case "again" | "back":
                ended.state = ended.state.again() if line == "again" else ended.state.back()
                _tell_next(ended)
            case "done" | "read":
                _do(job, ended, line)
                if ended.state.finished:
                    break
            case _:
                _own(job, line)
    return _closed(job, ended)


def _lines() -> Iterator[str]:
    source: TextIO | None = sys.stdin  # None when the program was started without one
    if isinstance(source, io.TextIOWrapper):
        source.reconfigure(errors="replace")
    for line in source or ():
        if text := " ".join(line.split()):
            yield text


def _do(job: Job, ended: Ended, word: str) -> None:
    prompt = ended.state.prompt()
    if prompt is None:
        return
    try:
        if word == "done":
            job.bench.carry_out(ended.state)
    except BenchsimError as error:
        click.echo(f"  not done: {error}")
        return
    _tell_read(job, _take(job, ended, prompt, job.bench.read()))
    _tell_next(ended)


def _own(job: Job, line: str) -> None:
    """A line of the person's own: a load or a fault."""
    try:
        if line.split()[0] not in OWN_WORDS:
            raise unknown("word", line.split()[0], KNOWN_WORDS)
        command = read_typed(line, job.plan.scale.receptor)
        if not isinstance(command, OWN):
            raise BadInput(f"{line!r} is nothing to do here", f"one of {', '.join(KNOWN_WORDS)}")
        reason = job.bench.do(command)
        click.echo(f"  {command}" + (f": not done, {reason}" if reason else ""))
    except BenchsimError as error:
        click.echo(f"  not done: {error}")


def _take(job: Job, ended: Ended, prompt: Prompt, reading: Reading) -> Step:
    """Hand a reading to the calibration and keep what came of it."""
    before = ended.state
    after = before.done(reading)
    if isinstance(after, Refusal):
        step = Step(prompt, None, after)
        ended.refusal = after
        if reading.stable and len(reading.counts) == job.settings.cells:
            ended.solution = before.tried(reading)
    else:
        step = Step(prompt, _read_kg(after, before.at), None, noticed(after, before.at))
        ended.state, ended.refusal, ended.solution = after, None, after.solution
    ended.steps.append(step)
    return step


def _read_kg(state: Calibration, index: int) -> float | None:
    solution = state.solution
    known = solution.kg_per_count if solution is not None else state.settings.sheet
    if known is None:
        return None
    if state.prompt() is None or state.readings[index] is not None:
        placed = placement(state.settings, state.readings, index)
        return None if placed is None else weight_kg(placed, known)
    return None


def _closed(job: Job, ended: Ended) -> Ended:
    if ended.state.finished:
        here_g = job.plan.scale.site.gravity_m_per_s2
        ended.results = results_of(ended.state, here_g, job.used_g)
    return ended


# -- what is told on the way ---------------------------------------------------------------------------


def tell(prompt: Prompt, told: Set[str] = frozenset()) -> None:
    """A prompt in words, with those of its cautions that were not told already."""
    click.echo(f"Step {prompt.number} of {prompt.of}, {prompt.kind}: {prompt.text}")
    for caution in (c for c in prompt.cautions if c not in told):
        click.echo(f"  ! {caution}")
    click.echo(f"  expected: {prompt.expects}")


def _tell_next(ended: Ended) -> None:
    prompt = ended.state.prompt()
    if prompt is not None:
        tell(prompt)


def _tell_read(job: Job, step: Step) -> None:
    if step.refusal is not None:
        click.echo(f"  refused: {step.refusal}")
        return
    first = step.prompt.kind is Kind.ZERO and step.prompt.number == 1
    if first or step.read_kg is None:
        click.echo("  read: at rest")
    else:
        base = "from the empty deck before" if step.prompt.kind is Kind.ZERO else "above the empty deck"
        click.echo(f"  read: {weight_text(step.read_kg, job.settings.interval_kg)} {base}")
    for note in step.notes:
        click.echo(f"  note: {note}")
