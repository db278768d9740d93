"""How a weight is read in a test: settled, and before rounding.

Small weights of 0.1 d are added until the indication steps; with dL on, the weight before rounding was
P = I + d/2 - dL, to within 0.1 d.  Where d is at most 0.2 e the indication itself is near enough.
Source: R 76-1 A.4.4.3, 3.5.3 (memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from benchsim.ground.commands import InstrumentCommand
from benchsim.verify.reader import Answer, Reader, Reading
from benchsim.verify.subject import Spot, Subject

SECOND_US = 1_000_000
SETTLE_US = 1_500_000  # a host may average and must see the load before it can tell of motion
POLL_US = 200_000
AGAIN_US = 100_000
LOOKS, LOOK_US = 5, 400_000
NOTICE_US, GLANCE_US = SECOND_US, 20_000
PATIENCE_US = 30 * SECOND_US
EMPTY_US = 5 * SECOND_US  # zero-tracking has done its work by then
MOST_WEIGHTS = 15  # ten of 0.1 d make a step; a few more for a host whose figure is not quite at rest
FINE = Decimal("0.2")  # where the rules do not say; R 76-1 3.5.3
BASE_E = 10  # a load of so many e keeps the scale out of the reach of zero-tracking


@dataclass(frozen=True, slots=True)
class Weighed:
    """shown_kg: I, None where no figure stood still.  before_kg: P, None where no step was found."""

    shown_kg: Decimal | None
    before_kg: Decimal | None


def settled(reader: Reader) -> Reading:
    """What is shown once it stands, or what is shown when nobody waits any longer."""
    reader.wait(SETTLE_US)
    return calm(reader)


def calm(reader: Reader) -> Reading:
    """What is shown as soon as it stands, or when nobody waits any longer."""
    until_us = reader.now_us + PATIENCE_US
    while (reading := reader.read()).motion and reader.now_us < until_us:
        reader.wait(POLL_US)
    return reading


def weigh(subject: Subject, reader: Reader, spot: Spot | None = None) -> Weighed:
    """I and P of what is on the scale now.  spot: where the small weights go, the middle when not said."""
    shown = standing(settled(reader))
    fine = subject.profile.rounding_counts_up_to or FINE
    if shown is None or subject.d_kg <= fine * subject.e_kg:
        return Weighed(shown, shown)
    small = subject.d_kg / 10
    x_m, y_m = spot or subject.middle
    on: list[int] = []
    before = None
    while before is None and len(on) < MOST_WEIGHTS:
        on.append(reader.place(float(small), x_m, y_m))
        now = standing(settled(reader))
        if now is not None and now > shown:
            before = shown + subject.d_kg / 2 - len(on) * small
    for load in reversed(on):
        reader.take_off(load)
    return Weighed(shown, before)


def standing(reading: Reading) -> Decimal | None:
    """The figure that stands still; None while it moves or where there is none."""
    return None if reading.motion else reading.figure_kg


def steady(reader: Reader, holds: Callable[[Decimal], bool]) -> bool:
    """Whether what is shown meets a condition and keeps to it: no figure that flickers between two."""
    for _ in range(LOOKS):
        figure = standing(calm(reader))
        if figure is None or not holds(figure):
            return False
        reader.wait(LOOK_US)
    return True


def notice(reader: Reader, before: Reading) -> None:
    """Wait until the display tells of a disturbance: nobody presses a key before it can."""
    until_us = reader.now_us + NOTICE_US
    while (
        (now := reader.read()).figure_kg == before.figure_kg and not now.motion and reader.now_us < until_us
    ):
        reader.wait(GLANCE_US)


def insist(reader: Reader, command: InstrumentCommand) -> Answer:
    """Ask again and again, from now on, until it is done or nobody waits any longer."""
    until_us = reader.now_us + PATIENCE_US
    while not (answer := reader.command(command)).done and reader.now_us < until_us:
        reader.wait(AGAIN_US)
    return answer


class Pile:
    """What a test has put on one spot, taken off in the order that a person would."""

    def __init__(self, subject: Subject, reader: Reader, spot: Spot | None = None) -> None:
        self._reader, self._spot = reader, spot or subject.middle
        self._on: list[tuple[int, Decimal]] = []

    @property
    def total_kg(self) -> Decimal:
        return sum((mass for _, mass in self._on), Decimal(0))

    def up_to(self, load_kg: Decimal) -> None:
        """Add what is missing to a load; nothing when it is there."""
        missing = load_kg - self.total_kg
        if missing > 0:
            self._on.append((self._reader.place(float(missing), *self._spot), missing))

    def down_to(self, load_kg: Decimal) -> None:
        """Take off, last on first off, until no more than a load is left, then add what is missing."""
        while self._on and self.total_kg > load_kg:
            self._reader.take_off(self._on.pop()[0])
        self.up_to(load_kg)

    def off(self) -> None:
        """Take all of it off."""
        self.down_to(Decimal(0))
