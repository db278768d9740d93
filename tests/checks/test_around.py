"""Under a failed check stands what lay around its instant: what was shown, what was true, what happened."""

from __future__ import annotations

from benchsim.checks.around import BARS, NO_FIGURE, around
from benchsim.ground.readings import Event
from benchsim.record.trace import Trace
from tests.record.runs import between, run


def stepped(t_us: int) -> int:
    return 918 if t_us >= 2_500_000 else 0


def made(*events: Event) -> Trace:
    """Six seconds: 18.4 t on from 2 s, shown as 918 d from 2.5 s; nothing may be shown from 4 s to 5 s."""
    lost = between(4, 5)
    one = run(
        60,
        stepped,
        lambda t: 18_400.0 if t >= 2_000_000 else 0.0,
        motion=between(2, 3),
        valid=lambda t: not lost(t),
        reason=lambda t: "node 2: lost" if lost(t) else "",
    )
    for event in events:
        one.happened(event)
    return one


def parts(line: str) -> tuple[str, str, str]:
    """The bars up to the instant, from it on, and the figures."""
    before, _, rest = line[11:].partition("│")
    after, _, figures = rest.partition("  ")
    return before, after, figures


def test_the_reading_at_the_instant_and_the_last_that_happened_before_it() -> None:
    lines = around(
        made(
            Event(1_000_000, "load", "block", "place block: 18400 kg at 1 m, 1 m"),
            Event(2_500_000, "command", "record", "record: in motion", done=False),
            Event(2_600_000, "answer", "scp0499", "", octets=b"x"),
            Event(2_700_000, "command", "zero", "zero"),
        ),
        2_600_000,
    )
    assert len(lines) == 4
    assert lines[2] == "at 2.6 s   18360 kg, motion; true mass 18.4 t"
    assert lines[3] == "before it  record refused at 2.5 s: in motion"


def test_the_plot_shows_what_was_shown_beside_what_was_true_on_one_scale() -> None:
    gross, true = (parts(line) for line in around(made(), 2_400_000)[:2])
    assert (gross[2], true[2]) == ("0 kg to 18400 kg", "0 s to 5.4 s")
    assert set(gross[0].strip()) == {BARS[0]}
    assert gross[1].startswith(BARS[0] + BARS[-1])
    assert true[0].rstrip(BARS[-1]).strip(BARS[0] + " ") == ""
    assert true[0].endswith(BARS[-1] * 2)
    assert gross[1].count(NO_FIGURE) in (6, 7)  # one second of the three, at 20 bars
    assert NO_FIGURE not in "".join(true)


def test_what_may_not_be_shown_is_told_with_its_reason() -> None:
    assert around(made(), 4_200_000)[2] == "at 4.2 s   ------ kg, node 2: lost; true mass 18.4 t"
    assert parts(around(made(), 4_200_000)[0])[1][0] == NO_FIGURE


def test_before_anything_was_shown_there_is_nothing_to_tell() -> None:
    assert around(made(), 0) == []
    assert around(run(0), 0) == []


def test_a_run_without_any_change_is_a_flat_plot() -> None:
    gross = parts(around(run(70), 3_500_000)[0])
    assert gross[2] == "0 kg"
    assert len(set(gross[0]) | set(gross[1])) == 1


def test_the_plot_keeps_inside_its_width_from_first_to_last_instant() -> None:
    for width in (60, 80, 200):
        for t_us in range(100_000, 6_000_001, 100_000):
            assert max(map(len, around(made(), t_us, width)[:2])) <= width
