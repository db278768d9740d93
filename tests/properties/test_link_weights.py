"""Whatever befalls the link, the nodes' power and their clocks: a stable weight is a true one.

No sample that is forged, replayed, stale or of another instant has a part in a weight; and when the trouble
is over, the weight is back.
"""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.bench.bench import Bench
from benchsim.ground import commands as ask
from benchsim.link.impairment import Impairment
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.replay import Replay
from benchsim.scenario.build import Built
from tests.link.meddling import SECOND, Meddler
from tests.scenario.texts import DECK, built

LOOK_US = 50_000
RECENT = SECOND // LOOK_US
D_KG = 20
MEDIA: list[Impairment] = [
    Meddler(0.3), BitErrors(5e-5), Loss(0.1), Duplicate(0.5, 700), Replay(0.5), Delay(2_000, 60_000, True),
]  # fmt: skip
WAY: st.SearchStrategy[tuple[Impairment, ...]] = st.lists(st.sampled_from(MEDIA), max_size=3).map(tuple)
FAULTS = st.sampled_from(
    [
        ("outage", {}), ("outage", {"direction": "up"}), ("outage", {"direction": "down"}),
        ("interference", {"loss": 0.5}), ("congestion", {}), ("fading", {}), ("power-loss", {}),
    ]
)  # fmt: skip
TROUBLE = st.tuples(FAULTS, st.sampled_from([1, 2]), st.sampled_from([300_000, 900_000, 2_500_000]))
LOAD = st.sampled_from([0.0, 6e3, 12e3])
TURN = st.tuples(st.one_of(TROUBLE, LOAD), st.sampled_from([250_000, 1_100_000, 3_000_000]))
PPM = st.integers(-100, 100)


def _ready(ways: tuple[tuple[Impairment, ...], ...], ppm: tuple[int, int]) -> Built:
    nodes = ", ".join(
        f"{{cells: {cells}, clock error: {p} ppm}}"
        for cells, p in zip(("[1, 2, 3]", "[4, 5, 6]"), ppm, strict=True)
    )
    zero = "host: {initial zero: off, zero tracking: off}\n"  # else a late pairing would zero a load
    made = built(DECK + zero + f"nodes: {{noise: 0 counts, each: [{nodes}]}}\n")
    plans = tuple(replace(n, up=w, down=w) for n, w in zip(made.plan.nodes, ways, strict=True))
    return replace(made, plan=replace(made.plan, nodes=plans))


class Run:
    """A bench that is looked at all the time."""

    def __init__(self, made: Built) -> None:
        self.bench = Bench(made.plan, made.profile, 3)
        self.true_kg: list[float] = []
        self.count = 0

    def go_on(self, for_us: int) -> None:
        """Run, and hold each stable weight against the truth of the last second."""
        end_us = self.bench.now_us + for_us
        while self.bench.now_us < end_us:
            self.bench.run(self.bench.now_us + LOOK_US)
            self.true_kg.append(self.bench.true_kg())
            shown = self.bench.indication
            if shown.shows_figure and not shown.motion:
                recent = self.true_kg[-RECENT:]
                assert any(abs(shown.gross_d * D_KG - kg) <= D_KG for kg in recent), (shown, recent[-1])

    def load(self, mass_kg: float) -> None:
        if "load" in self.bench.loads:
            self.bench.do(ask.Remove("load"))
        if mass_kg:
            self.bench.do(ask.Place("load", mass_kg, 9.0, 1.5))

    def trouble(self, name: str, figures: dict[str, object], node: int, for_us: int) -> None:
        self.count += 1
        key = f"{name} {self.count}"
        self.bench.do(ask.StartFault(key, name, node, figures))  # type: ignore[arg-type]
        self.go_on(for_us)
        self.bench.do(ask.EndFault(key))


@given(st.tuples(WAY, WAY), st.tuples(PPM, PPM), st.lists(TURN, min_size=2, max_size=8))
@settings(max_examples=8, deadline=None)
def test_a_stable_weight_is_the_true_one_whatever_befalls_the_link(
    ways: tuple[tuple[Impairment, ...], ...], ppm: tuple[int, int], turns: list[tuple[object, int]]
) -> None:
    run = Run(_ready(ways, ppm))
    run.go_on(7 * SECOND)
    for what, then_us in turns:
        if isinstance(what, float):
            run.load(what)
        elif isinstance(what, tuple):
            (name, figures), node, for_us = what
            run.trouble(name, figures, node, for_us)
        run.go_on(then_us)
    bench = run.bench
    hostile = any(isinstance(i, Meddler) for way in ways for i in way)  # who can make any pairing fail
    for state in bench.link_states:
        if state.step == "failed":
            bench.do(ask.Pair(state.address))
    run.load(12e3)
    run.go_on(12 * SECOND)
    flows = [s.step == "flow" for s in bench.link_states]
    assert all(flows) or hostile
    if all(flows):
        assert bench.indication.shows_figure
        assert abs(bench.indication.gross_d * D_KG - 12_000) <= D_KG
