"""A whole verification: every procedure, each on an instrument that was just switched on, to one report."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from benchsim.verify.judged import NO_FIGURE, Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import NoZero
from benchsim.verify.subject import Subject


@dataclass(frozen=True, slots=True)
class Report:
    """What came of it.  passed: no test that was run failed, and one was run."""

    subject: Subject
    tests: tuple[Judged, ...]

    @property
    def passed(self) -> bool:
        return not self.failed and any(t.passed for t in self.tests)

    @property
    def failed(self) -> tuple[Judged, ...]:
        return tuple(t for t in self.tests if t.passed is False)

    @property
    def not_run(self) -> tuple[Judged, ...]:
        return tuple(t for t in self.tests if t.passed is None)

    def by_procedure(self) -> list[tuple[Judged, ...]]:
        """The tests of each procedure, in order."""
        return [tuple(tests) for _, tests in groupby(self.tests, key=lambda t: (t.clause, t.title))]

    def document(self) -> dict[str, Any]:
        """As JSON has it."""
        tests = [t.document() for t in self.tests]
        return {"rules": self.subject.profile.name, "tests": tests, "passed": self.passed}


def verify(
    subject: Subject,
    switch_on: Callable[[], Reader],
    procedures: Iterable[Procedure],
    progress: Callable[[Procedure], object] = lambda _: None,
) -> Report:
    """switch_on: the instrument, anew for each procedure.  progress: told of each before it begins."""
    tests: list[Judged] = []
    for procedure in procedures:
        progress(procedure)
        if procedure.not_run or procedure.aside:
            why = f"not run: {procedure.not_run or f'{procedure.aside}; ask for it alone'}"
            tests.append(Judged(procedure.clause, procedure.title, "", "", why, None, None, None))
        else:
            tests += _carried_out(procedure, subject, switch_on())
    return Report(subject, tuple(tests))


def _carried_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    try:
        yield from procedure.carry_out(procedure, subject, reader)
    except NoZero:
        yield procedure.judged("error at zero", "", NO_FIGURE, None, None, False)
