"""The finer points of single procedures, each on an instrument that is right but for one thing."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from benchsim.ground.commands import InstrumentCommand, Record
from benchsim.verify.judged import Judged
from benchsim.verify.procedures import chosen, procedures_of
from benchsim.verify.reader import Answer, Reading
from benchsim.verify.run import verify
from tests.verify.model import Model, subject

MINUTE_US = 60_000_000


def judged_by(scale: Model, rules: str, clause: str, stage: str) -> list[Judged]:
    it = subject(rules, "3000", "1", stage=stage)
    return list(verify(it, lambda: scale, chosen(procedures_of(it.profile), clause)).tests)


class Late(Model):
    """Stands for 17 minutes, then rises by 0.3 kg within ten."""

    @property
    def _weight(self) -> Fraction:
        late = Fraction(3, 10) * max(0, min(10 * MINUTE_US, self.now_us - 17 * MINUTE_US)) / (10 * MINUTE_US)
        return super()._weight + late


def test_3_9_4_1_what_moves_after_15_minutes_is_watched_for_4_hours() -> None:
    # 0.3 e in 30 min is allowed, but not all of it between 15 and 30 min; then the tolerance over 4 h counts.
    still = judged_by(Model("1"), "r76-iii", "3.9.4.1", "initial")
    assert [t.part for t in still] == ["0 to 30 min", "15 to 30 min"]
    (late,) = judged_by(Late("1"), "r76-iii", "3.9.4.1", "initial")
    assert (late.part, late.limit_e, late.passed) == ("0 to 4 h", Decimal("1.5"), True)


class Flickering(Model):
    """Prints at once; then the last figure wanders to and fro by so many d each way."""

    wanders_d = 1

    def command(self, command: InstrumentCommand) -> Answer:
        return Answer(True, super().read().figure_kg) if isinstance(command, Record) else Answer(False)

    def read(self) -> Reading:
        figure = super().read().figure_kg
        assert figure is not None
        to = (-1, 0, 1, 0)[self.now_us // 200_000 % 4]
        return Reading(figure + (to if to < 0 else to * self.wanders_d), motion=False)


def test_a_4_12_two_neighbouring_values_may_show_and_no_third() -> None:
    # Each within 1 e of the printed one, but three of them.
    both_ways = Flickering("1")
    one_way = Flickering("1")
    one_way.wanders_d = 0
    three, two = (judged_by(s, "r76-iii", "A.4.12", "initial") for s in (both_ways, one_way))
    assert {t.passed for t in three} == {False}
    assert {abs(t.error_e) for t in three if t.error_e is not None} == {1}
    assert {t.passed for t in two} == {True}


class Slanting(Model):
    """Weighs a load more on one half of its deck and less on the other, by 0.08 % each."""

    def place(self, mass_kg: float, x_m: float, y_m: float) -> int:
        return super().place(mass_kg * (1.0008 if x_m < 0.5 else 0.9992 if x_m > 0.5 else 1.0), x_m, y_m)


def test_t_n_4_4_each_result_is_held_to_acceptance_and_their_range_to_maintenance() -> None:
    # About 1 000 d: 1 d when new, 2 d in use; errors of 0.8 d both ways, 1.6 d apart.
    *each, together = judged_by(Slanting("1"), "hb44-iii", "T.N.4.4", "acceptance")
    assert {t.limit_e for t in each} == {Decimal(1)}
    assert all(t.passed for t in each)
    assert (together.part, together.limit_e, together.passed) == ("range of all", Decimal(2), True)
    assert together.error_e is not None
    assert 1 < together.error_e <= 2
