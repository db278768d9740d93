"""The vectorised judge says what a plain reading of the sentence says, update by update, in fractions."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

from hypothesis import assume, given
from hypothesis import strategies as st

from benchsim.checks.judge import judge
from benchsim.checks.sentence import parse
from benchsim.record.trace import Trace
from benchsim.rules.profile import load_profile
from benchsim.rules.tables import tolerance_d
from tests.record.runs import indication, trace

PROFILE = load_profile("r76-iii")
D_KG = Fraction(20)


@st.composite
def runs(draw: st.DrawFn) -> Trace:
    """Up to 12 updates with all that may be odd about each."""
    made = trace(cells=1)
    for number in range(1, draw(st.integers(1, 12)) + 1):
        gross_d = draw(st.integers(-5, 12))
        true_kg = draw(st.sampled_from([0.0, 0.1, 99.9, 100.0, 110.0, 130.0, 9999.9, 10_010.0, 240.0]))
        one = indication(
            number * 100_000,
            gross_d,
            valid=draw(st.integers(0, 5)) > 0,
            overload=draw(st.integers(0, 5)) == 0,
            motion=draw(st.booleans()),
            tare_d=draw(st.integers(0, 2)),
            shows_net=draw(st.booleans()),
        )
        made.add(one, true_kg, [true_kg])
    return made


def values(made: Trace, subject: str) -> list[Fraction | None]:
    """A weight by update in kg; None where no figure may be shown."""
    columns = made.columns()
    given: list[Fraction | None] = []
    for row in range(len(made)):
        one = made.indication(row)
        true = Fraction(Decimal(repr(float(columns.true_kg[row]))))
        if subject == "true mass":
            given.append(true)
        elif not one.shows_figure:
            given.append(None)
        else:
            count = {"gross": one.gross_d, "net": one.net_d, "tare": one.tare_d, "shown": one.shown_d}
            given.append(one.gross_d * D_KG - true if subject == "error" else count[subject] * D_KG)
    return given


LIMITS = st.sampled_from(
    ["0 kg", "100 kg", "110 kg", "0.1 kg", "5 d", "5.5 d", "-20 kg", "99.9 kg", "0.24 t"]
)
SUBJECTS = st.sampled_from(["gross", "net", "tare", "shown", "true mass", "error"])


def in_kg(text: str) -> Fraction:
    number, unit = text.split()
    return Fraction(number) * {"kg": Fraction(1), "t": Fraction(1000), "d": D_KG}[unit]


PREDICATES: dict[str, Callable[[Fraction, Fraction, Fraction], bool]] = {
    "is {a}": lambda v, a, b: v == a,
    "is not {a}": lambda v, a, b: v != a,
    "is {a} within 1.5 d": lambda v, a, b: abs(v - a) <= 30,
    "is not within 20 kg of {a}": lambda v, a, b: abs(v - a) > 20,
    "is {a} within 5 %": lambda v, a, b: abs(v - a) <= abs(a) / 20,
    "is above {a}": lambda v, a, b: v > a,
    "is not above {a}": lambda v, a, b: v <= a,
    "is below {a}": lambda v, a, b: v < a,
    "is at least {a}": lambda v, a, b: v >= a,
    "is at most {a}": lambda v, a, b: v <= a,
    "is between {a} and {b}": lambda v, a, b: a <= v <= b,
}


def both(limits: tuple[str, str]) -> tuple[str, str]:
    first, second = sorted(limits, key=in_kg)
    return first, second


@given(runs(), SUBJECTS, st.sampled_from(sorted(PREDICATES)), st.tuples(LIMITS, LIMITS).map(both))
def test_always_never_and_once_as_a_plain_reading_has_them(
    made: Trace, subject: str, predicate: str, limits: tuple[str, str]
) -> None:
    assume(not ("%" in predicate and limits[0] == "0 kg"))
    statement = f"{subject} {predicate.format(a=limits[0], b=limits[1])}"
    meets, a, b = PREDICATES[predicate], in_kg(limits[0]), in_kg(limits[1])
    held = [None if v is None else meets(v, a, b) for v in values(made, subject)]
    judged = [h for h in held if h is not None]
    times = made.columns().t_us.tolist()

    always = judge(parse(f"always {statement}"), made, PROFILE)
    first = next((i for i, h in enumerate(held) if h is not None), len(held))
    from_first = held[first:]
    assert always.passed == (bool(judged) and all(h is True for h in from_first))
    if judged and not always.passed:
        assert always.at_us == next(times[first + i] for i, h in enumerate(from_first) if h is not True)
    never = judge(parse(f"never {statement}"), made, PROFILE)
    assert never.passed == (bool(judged) and not any(judged))
    once = judge(parse(f"within 2 s after 0 s {statement}"), made, PROFILE)
    assert once.passed == (True in held)
    if True in held:
        assert once.at_us == times[held.index(True)]
    for row, t_us in enumerate(times):
        assert judge(parse(f"at {t_us} us {statement}"), made, PROFILE).passed == (held[row] is True)
    begins = sum(h and (i == 0 or not judged[i - 1]) for i, h in enumerate(judged))
    counted = judge(parse(f"{statement} exactly {begins} times"), made, PROFILE)
    assert counted.passed == bool(judged)


@given(runs(), st.sampled_from(["initial", "in service"]))
def test_an_error_within_mpe_as_a_plain_reading_has_it(made: Trace, stage: str) -> None:
    held = []
    truth = values(made, "true mass")
    for error, true in zip(values(made, "error"), truth, strict=True):
        if error is not None and true is not None:
            load_d = -(-true // D_KG)
            held.append(abs(error) <= Fraction(tolerance_d(max(0, int(load_d)), PROFILE, stage)) * D_KG)
    given_one = judge(
        parse(f"always error is within {stage} mpe while indication is not blank"), made, PROFILE
    )
    assert given_one.passed == (bool(held) and all(held))


@given(runs())
def test_while_leaves_out_the_other_moments(made: Trace) -> None:
    ones = [made.indication(row) for row in range(len(made))]
    judged = [one for one in ones if one.shows_figure and not one.motion]
    check = parse("always gross is at least zero while stable and indication is not blank")
    assert judge(check, made, PROFILE).passed == (bool(judged) and all(one.gross_d >= 0 for one in judged))


@given(runs(), st.integers(0, 12))
def test_how_long_as_a_plain_reading_has_it(made: Trace, tenths: int) -> None:
    """A state lasts from the update that shows it up to the next that does not, or to the last update."""
    ones = [made.indication(row) for row in range(len(made))]
    longest_us, since_us, seen = 0, None, False
    for one in ones:
        on = one.valid and one.motion
        if since_us is not None:
            longest_us = max(longest_us, one.t_us - since_us)
        since_us = (one.t_us if since_us is None else since_us) if on else None
        seen = seen or on
    valid = any(one.valid for one in ones)
    for_at_least = judge(parse(f"for at least {tenths * 100} ms motion is on"), made, PROFILE)
    assert for_at_least.passed == (valid and seen and longest_us >= tenths * 100_000)
    never_more = judge(parse(f"never for more than {tenths * 100} ms motion is on"), made, PROFILE)
    assert never_more.passed == (valid and longest_us <= tenths * 100_000)
