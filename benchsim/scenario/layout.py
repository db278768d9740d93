"""Where the cells stand, and how large the deck and the cells are when the file leaves it open.

Every guess that a scenario may leave to benchsim stands here.  Source of the guesses: common practice, no
source, save where a clause is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from benchsim.scale.parts import Receptor, Support
from benchsim.scale.receptor import bearing
from benchsim.scenario.findings import Findings
from benchsim.scenario.quantities import Spot
from benchsim.scenario.schema import Cells, File

STIFFNESS_N_PER_M = 1.0e8
_SERIES = (Decimal(1), Decimal("1.5"), Decimal(2), Decimal(3), Decimal(5), Decimal("7.5"), Decimal(10))
_INITIAL_ZERO = Decimal("0.2")
_NOT_UNIFORM = Decimal("0.5")
SAFE_LOAD = Decimal("1.5")
"""A cell's safe load, in E_max; beyond it no scale is built.  Source: common practice, no source."""


def cells_of(file: File, findings: Findings) -> int:
    """How many cells there are."""
    cells = file.cells
    places = len(cells.at) if cells.at is not None else None
    if cells.count and places and cells.count != places:
        findings.add(("cells", "count"), f"count: {cells.count}, but places under at: {places}", "drop count")
    return places or cells.count or 4


def receptor_of(file: File, count: int, findings: Findings) -> Receptor:
    """The load receptor on its supports."""
    given = file.scale.receptor
    pairs = -(-count // 2)
    length_m = float(given.length if given.length is not None else (2 if count <= 4 else 6 * (pairs - 1)))
    width_m = float(given.width if given.width is not None else (2 if count <= 4 else 3))
    spots = file.cells.at
    if spots is not None and file.cells.inset is not None:
        findings.add(
            ("cells", "inset"), "inset beside at", "leave it out: at says where they stand", key=True
        )
    at_m = (
        _rows(file.cells, count, length_m, width_m, findings)
        if spots is None
        else [_given(spot, i, length_m, width_m, findings) for i, spot in enumerate(spots)]
    )
    supports = tuple(_support(file.cells, n, x_m, y_m) for n, (x_m, y_m) in enumerate(at_m, 1))
    _no_two_on_one_spot(supports, findings)
    return Receptor(
        length_m=length_m,
        width_m=width_m,
        dead_load_kg=float(dead_load_of(file)),
        supports=supports,
        natural_frequency_hz=float(given.natural_frequency),
        damping_ratio=float(given.damping),
    )


def _support(cells: Cells, number: int, x_m: float, y_m: float) -> Support:
    own = [each for each in cells.each if each.cell == number]
    stiffness, height, anchored = (
        next((v for f in (*own, cells) if (v := getattr(f, name)) is not None), None)
        for name in ("stiffness", "height", "anchored")
    )
    return Support(x_m, y_m, float(stiffness or STIFFNESS_N_PER_M), float(height or 0), bool(anchored))


def dead_load_of(file: File) -> Decimal:
    """The receptor's own mass; when not given, a fifth of the capacity."""
    given = file.scale.receptor.dead_load
    return given if given is not None else file.scale.capacity / 5


def needed_capacity(file: File, count: int) -> Decimal:
    """The smallest E_max that fits: (Max + dead load + initial zero + uneven load)/N.

    Source: R 76-1 annex F, E_max >= Q x Max x R/N with IZSR 20 % and NUD 50 % (memory).
    """
    return (file.scale.capacity * (1 + _INITIAL_ZERO + _NOT_UNIFORM) + dead_load_of(file)) / count


def cell_capacity(file: File, count: int) -> Decimal:
    """E_max when not given: what is needed, rounded up to a usual size."""
    least = needed_capacity(file, count)
    decade = Decimal(1).scaleb(least.adjusted())
    return next(step * decade for step in _SERIES if step * decade >= least)


def off_line_m(receptor: Receptor, x_m: float, y_m: float) -> float:
    """How far a point lies beside the line on which all supports stand; 0 on it, and where there is none."""
    line = bearing(receptor).line
    off_m = 0.0 if line is None else line.distance_m(x_m, y_m)
    return off_m if line is not None and off_m > line.beside_m else 0.0


def place_on(spot: Spot, receptor: Receptor) -> tuple[float, float]:
    """A position in metres.  Raises nothing: a cell that is not there is the caller's to refuse."""
    if spot.at_m is not None:
        return spot.at_m
    if spot.cell is not None and spot.cell <= len(receptor.supports):
        support = receptor.supports[spot.cell - 1]
        return support.x_m, support.y_m
    return receptor.length_m / 2, receptor.width_m / 2


def _rows(
    cells: Cells, count: int, length_m: float, width_m: float, findings: Findings
) -> list[tuple[float, float]]:
    """Rows of two along the length, cell 1 at the corner (0, 0), cell 2 across from it.

    One cell stands in the middle, two on the middle line; an odd last one on the middle line at the end.
    """
    least_m = min(length_m, width_m)
    inset_m = float(cells.inset) if cells.inset is not None else least_m / 20
    if 2 * inset_m >= least_m:
        findings.add(
            ("cells", "inset"), f"inset: {inset_m:g} m leaves no room on {length_m:g} m x {width_m:g} m",
            f"less than {least_m / 2:g} m",
        )  # fmt: skip
        inset_m = least_m / 20
    if count == 1:
        return [(length_m / 2, width_m / 2)]
    columns = count if count == 2 else -(-count // 2)
    step_m = (length_m - 2 * inset_m) / (columns - 1)
    spots: list[tuple[float, float]] = []
    for column in range(columns):
        x_m = round(inset_m + column * step_m, 6)
        alone = count == 2 or (count % 2 == 1 and column == columns - 1)
        across = [width_m / 2] if alone else [inset_m, round(width_m - inset_m, 6)]
        spots.extend((x_m, y_m) for y_m in across)
    return spots


def _given(
    spot: Spot, index: int, length_m: float, width_m: float, findings: Findings
) -> tuple[float, float]:
    loc = ("cells", "at", index)
    if spot.at_m is None:
        if spot.cell is not None:
            findings.add(loc, "a cell's place cannot be told by a cell", "write [1 m, 0.5 m] or centred")
        return length_m / 2, width_m / 2
    x_m, y_m = spot.at_m
    if not (0 <= x_m <= length_m and 0 <= y_m <= width_m):
        findings.add(
            loc, f"cell {index + 1} at {x_m:g} m, {y_m:g} m stands outside the receptor",
            f"from 0 m, 0 m to {length_m:g} m, {width_m:g} m",
        )  # fmt: skip
    return x_m, y_m


def _no_two_on_one_spot(supports: Sequence[Support], findings: Findings) -> None:
    seen: dict[tuple[float, float], int] = {}
    for number, support in enumerate(supports, 1):
        first = seen.setdefault((support.x_m, support.y_m), number)
        if first != number:
            findings.add(
                ("cells", "at", number - 1),
                f"cell {number} stands where cell {first} stands",
                "move one of them",
            )
