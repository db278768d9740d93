"""What a procedure comes to: tests, each with clause, load, indication, error before rounding, and limit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from benchsim.verify.reader import Reader
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import Weighed

NO_FIGURE = "no steady figure"
NO_STEP = "no step within 1.5 d"


@dataclass(frozen=True, slots=True)
class Judged:
    """One test.  title, part: which procedure, which part of it.  load, indication: as people read them.

    error_e, limit_e: in e, or in d where the rules count d; None where the test is no question of an error.
    passed: None for what was not run.
    """

    clause: str
    title: str
    part: str
    load: str
    indication: str
    error_e: Decimal | None
    limit_e: Decimal | None
    passed: bool | None

    def document(self) -> dict[str, Any]:
        """As JSON has it."""
        return {
            "clause": self.clause,
            "title": f"{self.title}: {self.part}" if self.part else self.title,
            "load": self.load,
            "indication": self.indication,
            "error_e": None if self.error_e is None else float(self.error_e),
            "limit_e": None if self.limit_e is None else float(self.limit_e),
            "passed": self.passed,
        }


@dataclass(frozen=True, slots=True)
class Procedure:
    """A test of a standard: begins and ends with an empty receptor.

    not_run: why it is not, for what cannot be; then carry_out gives nothing.  needs: keys of the profile,
    without which it is not run.  named_by: the key whose clause is this one's, where classes differ.
    aside: why it is only run when it is asked for.
    """

    clause: str
    title: str
    carry_out: Callable[[Procedure, Subject, Reader], Iterator[Judged]] = lambda *_: iter(())
    not_run: str = ""
    needs: tuple[str, ...] = ()
    named_by: str = ""
    aside: str = ""

    def judged(
        self,
        part: str,
        load: Decimal | str,
        indication: Decimal | str | None,
        error_e: Decimal | None,
        limit_e: Decimal | None,
        passed: bool | None = None,
    ) -> Judged:
        """One test of this procedure.  passed: None is whether the error lies within the limit."""
        if passed is None:
            passed = error_e is not None and limit_e is not None and abs(error_e) <= limit_e
        return Judged(self.clause, self.title, part, mass(load), mass(indication), error_e, limit_e, passed)

    def weighed(
        self,
        part: str,
        load_kg: Decimal,
        result: Weighed,
        off_kg: Decimal,
        subject: Subject,
        limit_e: Decimal,
    ) -> Judged:
        """One test of an error: P - L - off_kg, where off_kg is the error at zero."""
        if result.before_kg is None:
            shown = NO_FIGURE if result.shown_kg is None else f"{mass(result.shown_kg)}, {NO_STEP}"
            return self.judged(part, load_kg, shown, None, limit_e)
        error_e = (result.before_kg - load_kg - off_kg) / subject.e_kg
        return self.judged(part, load_kg, result.shown_kg, error_e, limit_e)


def mass(value: Decimal | str | None) -> str:
    """A weight for people: "1000 kg"."""
    if value is None:
        return NO_FIGURE
    return value if isinstance(value, str) else f"{value.normalize():f} kg"
