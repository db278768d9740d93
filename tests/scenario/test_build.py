"""A scenario becomes a bench, or is refused with everything that is impossible about it."""

from __future__ import annotations

import hashlib
from decimal import Decimal
from pathlib import Path

import pytest

from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.burst import Burst
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.reorder import Reorder
from benchsim.rules.profile import profile_names
from benchsim.scale.supply import Supply
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load
from tests.scenario.texts import DECK, HEAD, built, told


def test_what_is_left_out_gets_values_that_can_be() -> None:
    plan = built(HEAD).plan
    receptor = plan.scale.receptor
    assert (receptor.length_m, receptor.width_m, receptor.dead_load_kg) == (2, 2, 600)
    assert [(round(s.x_m, 3), round(s.y_m, 3)) for s in receptor.supports] == [
        (0.1, 0.1), (0.1, 1.9), (1.9, 0.1), (1.9, 1.9),
    ]  # fmt: skip
    assert [n.card.strap for n in plan.nodes] == [1]
    assert [(s.address, s.channel) for s in plan.host.seats] == [(1, 0), (1, 1), (1, 2), (1, 3)]
    assert plan.nodes[0].up == plan.nodes[0].down == ()
    assert plan.card.capacity_d == 3000
    assert plan.paired_at_start


# Source: R 76-1 annex F, E_max >= Q x Max x R/N, Q = (Max + DL + IZSR + NUD)/Max (memory), with the figures
# of its own line: here Max 60 t, DL 12 t, IZSR 20 %, NUD 50 % give Q = 1.9 and 14.25 t for eight cells.
@pytest.mark.parametrize(("cells", "e_max_kg"), [(8, 15_000), (6, 20_000), (4, 30_000), (16, 7_500)])
def test_a_cell_s_capacity_left_open_is_large_enough(cells: int, e_max_kg: float) -> None:
    text = DECK.replace("count: 6, capacity: 30 t", f"count: {cells}")
    assert {c.e_max_kg for c in built(text).plan.scale.cells} == {e_max_kg}
    assert e_max_kg >= 1.9 * 60_000 / cells


@pytest.mark.parametrize("count", range(1, 17))
def test_any_number_of_cells_is_laid_out_inside_the_deck_and_on_enough_nodes(count: int) -> None:
    plan = built(HEAD + f"cells: {{count: {count}}}\n").plan
    receptor = plan.scale.receptor
    spots = {(s.x_m, s.y_m) for s in receptor.supports}
    assert len(spots) == count
    assert all(0 < x < receptor.length_m and 0 < y < receptor.width_m for x, y in spots)
    assert round(sum(x for x, _ in spots) / count, 6) == pytest.approx(
        receptor.length_m / 2, abs=receptor.length_m / 4
    )
    # One node for every four cells or part of it: common practice, no source.
    assert len(plan.nodes) == -(-count // 4)
    assert [c for s in plan.scale.stations for c in s.cells] == list(range(count))


def test_a_figure_of_one_cell_wins_over_the_figure_of_all() -> None:
    plan = built(
        HEAD + "cells:\n  capacity: 2 t\n  zero balance: 0.01 mV/V\n"
        "  creep: [{share: 0.01 %, time constant: 2 min}]\n"
        "  lead resistance: 0.4 ohm\n  each:\n"
        "    - {cell: 3, zero balance: -0.02 mV/V, sensed: off, stiffness: 50 kN/mm}\n"
    ).plan
    cells = plan.scale.cells
    assert [c.zero_balance_mv_per_v for c in cells] == [0.01, 0.01, -0.02, 0.01]
    assert {c.e_max_kg for c in cells} == {2000}
    assert cells[2].creep == ((0.0001, 120.0),)
    assert [w.sensed for w in plan.scale.wiring] == [True, True, False, True]
    assert [s.stiffness_n_per_m for s in plan.scale.receptor.supports] == [1e8, 1e8, 5e7, 1e8]


def test_a_figure_of_one_node_wins_over_the_figure_of_all() -> None:
    plan = built(
        DECK + "nodes:\n  rate: 40 Hz\n  noise: 12 counts\n  bits: 20\n  each:\n"
        "    - {cells: [1, 3, 5], clock error: 30 ppm, firmware: '2.7'}\n"
        "    - {cells: [6, 4, 2], address: 5, strap: 4, serial: 77, noise: 30 nV/√Hz,\n"
        "       network: 9, pairing key: other}\n"
    ).plan
    one, two = (s.digitiser for s in plan.scale.stations)
    assert (one.noise_rms_counts, one.noise_density_v_per_rthz, one.clock_error_ppm) == (12, 0, 30)
    assert (two.noise_rms_counts, two.noise_density_v_per_rthz, two.bits) == (0, 30e-9, 20)
    first, second = (n.card for n in plan.nodes)
    assert (first.strap, first.firmware, first.rate_hz) == (1, (2, 7), 40)
    assert (second.strap, second.serial, second.network) == (4, 77, 9)
    assert first.key != second.key
    assert [e.address for e in plan.link.expected] == [1, 5]
    assert [(s.address, s.channel) for s in plan.host.seats] == [
        (1, 0),
        (5, 2),
        (1, 1),
        (5, 1),
        (1, 2),
        (5, 0),
    ]


def test_a_pairing_key_is_made_from_words_by_a_published_hash() -> None:
    plan = built(HEAD + "link: {pairing key: some words}\n").plan
    assert plan.link.key == hashlib.sha256(b"some words").digest()[:16] == plan.nodes[0].card.key


def test_a_stranger_is_a_node_that_reads_no_cell_and_is_not_expected() -> None:
    plan = built(DECK + "nodes: {strangers: [{strap: 1, network: 9, serial: 5}]}\nlink: {network: 4}\n").plan
    assert [(n.card.strap, n.card.network) for n in plan.nodes] == [(1, 4), (2, 4), (1, 9)]
    assert len(plan.scale.stations) == 2
    assert [e.address for e in plan.link.expected] == [1, 2]


def test_a_link_becomes_a_stack_of_impairments_both_ways() -> None:
    text = DECK + (
        "link: {loss: 1 %, bursts: {begin: 0.5 %, end: 20 %, loss: 90 %}, bit errors: 1 ppm,\n"
        "  duplicates: 2 %,\n"
        "  delay: 4 ms, jitter: 2 ms, reordering: 3 %, silence: 2 s, samples per frame: 4, beat: 500 ms}\n"
        "nodes: {each: [{cells: [1, 2, 3]}, {cells: [4, 5, 6], link: {delay: 9 ms}}]}\n"
    )
    plan = built(text).plan
    loss, burst, bits, twice, delay, reorder = plan.nodes[0].up
    assert loss == Loss(0.01)
    assert isinstance(burst, Burst)
    assert (burst.p, burst.r) == (0.005, 0.2)
    assert burst.h == pytest.approx(0.1)
    assert (bits, twice, delay, reorder) == (
        BitErrors(1e-6), Duplicate(0.02), Delay(4000, 2000), Reorder(0.03),
    )  # fmt: skip
    assert plan.nodes[0].down == plan.nodes[0].up
    assert plan.nodes[1].up == (Delay(9000, 0),)
    settings = plan.link.settings
    assert (settings.liveness_us, settings.beat_us, settings.samples_per_frame) == (2_000_000, 500_000, 4)


@pytest.mark.parametrize(
    ("text", "errors"),
    [
        (
            "title: t\nscale: {capacity: 60 t, interval: 15 kg}\n",
            # The wording of the house's style guide.
            [
                "s.yaml:2:35: interval: 15 kg is not 1, 2 or 5 times a power of ten; "
                "nearest: 10 kg, 20 kg (HB 44 S.1.2)"
            ],
        ),
        (
            "title: t\nscale: {capacity: 60 t, interval: 15 kg}\nrules: none\n",
            ["s.yaml:2:35: interval: 15 kg is not 1, 2 or 5", "s.yaml:3:8: unknown rule profile 'none'"],
        ),
        # n_max of class III is 10 000 in HB 44 Table 3 and R 76-1 Table 3.
        (
            "title: t\nscale: {capacity: 60 t, interval: 5 kg}\n",
            ["s.yaml:2:35: interval: 12000 intervals up to Max"],
        ),
        (
            "title: t\nscale: {capacity: 60001 kg, interval: 20 kg}\n",
            ["s.yaml:2:39: interval: Max 60.001 t is not a whole"],
        ),
        ("title: t\nscale: {capacity: 1 kg, interval: 20 kg}\n", ["s.yaml:2:35: interval: "]),
        (
            HEAD + "cells: {at: [[1 m, 1 m], [3 m, 1 m]]}\n",
            ["s.yaml:3:26: cell 2 at 3 m, 1 m stands outside the receptor; from 0 m"],
        ),
        (
            HEAD + "cells: {at: [[1 m, 1 m], [1 m, 1 m]]}\n",
            ["s.yaml:3:26: cell 2 stands where cell 1 stands"],
        ),
        (HEAD + "cells: {at: [over cell 1]}\n", ["s.yaml:3:14: a cell's place cannot be told by a cell"]),
        (
            HEAD + "cells: {at: [[1 m, 1 m]], count: 2}\n",
            ["s.yaml:3:34: count: 2, but places under at: 1; drop count"],
        ),
        (HEAD + "cells: {inset: 1 m}\n", ["s.yaml:3:16: inset: 1 m leaves no room on 2 m x 2 m"]),
        (HEAD + "cells: {each: [{cell: 5}]}\n", ["s.yaml:3:23: there is no cell 5; cells 1 to 4"]),
        (HEAD + "cells: {each: [{cell: 1}, {cell: 1}]}\n", ["s.yaml:3:34: cell 1 is listed twice"]),
        (HEAD + "nodes: {each: [{cells: [1, 2]}]}\n", ["s.yaml:3:9: no node reads cell 3, 4"]),
        (HEAD + "nodes: {each: [{}, {cells: [4]}]}\n", ["s.yaml:3:28: cell 4 is on node 1 already"]),
        (
            HEAD + "nodes: {each: [{}, {}]}\n",
            ["s.yaml:3:20: node 2 has no cells left; give it cells, or make it a stranger"],
        ),
        (
            HEAD + "nodes: {each: [{cells: [1, 2], address: 3}, {cells: [3, 4], address: 3}]}\n",
            ["s.yaml:3:70: address 3 is given to nodes 1 and 2; give each its own; two nodes on one address"],
        ),
        (
            HEAD + "nodes: {rate: 80.5 Hz}\n",
            ["s.yaml:3:15: rate: 80.5 Hz; a whole number of samples a second, 1 to"],
        ),
        (
            HEAD + "host: {updates: 7}\n",
            ["s.yaml:3:17: updates: 7 a second do not divide a second evenly; one of 1, 2"],
        ),
        (HEAD + "outputs: [scp0498]\n", ["s.yaml:3:11: unknown protocol 'scp0498'; did you mean 'scp0499'?"]),
        (
            HEAD + "cells: {capacity: 100 kg}\n",
            ["s.yaml:3:19: cell 1, capacity: the dead load alone is 150 kg on a cell of 100 kg"],
        ),
        (
            HEAD + "link: {silence: 100 ms}\n",
            ["s.yaml:3:17: silence: 0.1 s passes between two frames of a node; more than 0.1 s: 8 samples"],
        ),
        (
            HEAD + "link: {samples per frame: 80}\n",
            ["s.yaml:3:7: silence: 1 s passes between two frames of a node; more than 1 s: 80"],
        ),
        (
            HEAD + "scale2: 1\n",
            ["s.yaml:3:1: unknown key 'scale2'; did you mean 'scale'?"],
        ),
        # A rigid deck that overhangs its cells: 1/4 - 0.75 m x 0.25 m / (4 x (0.25 m)^2) of 600 kg.
        (
            HEAD + "cells: {at: [[0 m, 0 m], [0 m, 2 m], [0.5 m, 0 m], [0.5 m, 2 m]]}\n",
            ["s.yaml:3:14: support 1: the dead load lifts it by 300 kg"],
        ),
        (
            HEAD + "lasts: 10 s\nchecks: [at 11 s gross is zero]\n",
            ["s.yaml:4:10: 11 s lies after the end; the run lasts 10 s"],
        ),
        (
            HEAD + "lasts: 6 s\ntimeline:\n"
            "  - {at: 1 s, command: record, every: 1 s, until: 100 s}\n"
            "  - {at: 2 s, fault: outage, on: node 1, for: 5 s}\n"
            "  - {at: 3 s, ask: scp0499, send: W, every: 1 s, for: 3001 ms}\n"
            "  - {at: 7 s, command: zero}\n"
            "checks:\n  - within 2 s after the end of fault outage node 1 is flow\n"
            "  - from 2 s on for at least 5 s valid\n"
            "  - within 5 s after 1 s for at least 4 s valid\n",
            [
                "s.yaml:5:51: until: 100 s lies after the end; the run lasts 6 s",
                "s.yaml:6:47: for: 7 s lies after the end; the run lasts 6 s",
                "s.yaml:7:55: for: 6.001 s lies after the end; the run lasts 6 s",
                "s.yaml:8:10: at: 7 s lies after the end; the run lasts 6 s",
                "s.yaml:10:5: 9 s lies after the end; the run lasts 6 s",
                "s.yaml:11:5: 7 s lies after the end; the run lasts 6 s",
            ],
        ),
        (
            HEAD + "cells: {inset: 40 cm, at: [[0 m, 0 m], [2 m, 0 m], [0 m, 2 m], [2 m, 2 m]]}\n",
            ["s.yaml:3:9: inset beside at; leave it out: at says where they stand"],
        ),
        (
            HEAD + "site: {temperature: 20 K}\n",
            ["s.yaml:3:21: temperature: '20 K' is a temperature difference, not a temperature; units of"],
        ),
        (HEAD + "outputs: []\n", ["s.yaml:3:10: outputs: a list is too short; at least 1"]),
        (
            HEAD + "checks: [at 3 s gross is between 1 t and 10 d]\n",
            ["s.yaml:3:17: a range that runs backwards; between the smaller and the larger"],
        ),
        (HEAD + "checks: [at 1 s gros is zero]\n", ["s.yaml:3:17: 'gros'; did you mean 'gross'?"]),
        (HEAD + "checks: ['at 1 s gros is zero']\n", ["s.yaml:3:18: 'gros'; did you mean 'gross'?"]),
        (HEAD + "checks: [at 1 s cell 5 is zero]\n", ["s.yaml:3:22: cell 5; cells are numbered 1 to 4"]),
        (HEAD + "checks: [at 1 s node 2 is flow]\n", ["s.yaml:3:22: "]),
        (
            HEAD
            + "timeline: [{at: 1 s, fault: outage, for: 1 s}]\n"
            + "checks: [during fault outige indication is invalid]\n",
            ["s.yaml:4:23: unknown fault of the timeline 'outige'; did you mean 'outage'?"],
        ),
        (
            HEAD + "checks:\n  - during fault outage motion is on\n"
            "  - within 5 s after the end of fault gone motion is on\n",
            [
                "s.yaml:4:18: unknown fault of the timeline 'outage'; the timeline has no fault",
                "s.yaml:5:39: unknown fault of the timeline 'gone'; the timeline has no fault",
            ],
        ),
        (
            HEAD + "cells: {capacity: 500 kg}\n",
            # R 76-1 annex F (memory): Q = 1 + 0.2 + 0.2 + 0.5, so E_max >= 1.9 x 3 t / 4 = 1.425 t.
            [
                "s.yaml:3:19: cell 1, capacity: 500 kg, but dead load and Max come to 900 kg a cell; "
                "at least 1.425 t (R 76-1 annex F: E_max >= Q x Max x R/N)"
            ],
        ),
        (
            HEAD + "cells: {at: [[0 m, 0 m], [2 m, 0 m]]}\n",
            ["s.yaml:3:13: receptor, supports: the dead load lies 1 m beside their line"],
        ),
    ],
)
def test_what_cannot_be_is_refused_at_its_place(text: str, errors: list[str]) -> None:
    lines = told(text)
    assert len(lines) == len(errors)
    assert [line for line, error in zip(lines, errors, strict=True) if not line.startswith(error)] == []


@pytest.mark.parametrize("capacity", ["600 kg", "900 kg", "1425 kg"])
def test_a_scale_that_is_only_tight_may_be_overloaded_on_purpose(capacity: str) -> None:
    assert built(HEAD + f"cells: {{capacity: {capacity}}}\n").plan.scale.cells[0].e_max_kg > 0


def test_all_cells_on_one_line_carry_what_stands_on_that_line() -> None:
    row = "cells: {at: [[0 m, 0.4 m], [1 m, 1 m], [2 m, 1.6 m]]}\ntimeline:\n"
    on = "  - {at: 1 s, place: 1 t, name: a, position: [1.5 m, 1.3 m]}\n  - {at: 2 s, place: 1 t, name: b}\n"
    assert built(HEAD + row + on).told
    assert built(
        HEAD + "cells: {count: 1}\ntimeline: [{at: 1 s, place: 1 t, name: a, position: [0 m, 0 m]}]"
    ).told
    off = "  - {at: 3 s, move: b, position: [1.5 m, 1.31 m]}\n  - {at: 4 s, drive: c, axles: [{mass: 1 t}]}\n"
    assert [line.partition("; ")[0] for line in told(HEAD + row + on + off)] == [
        "s.yaml:7:34: 1.5 m, 1.31 m lies 0.00857 m beside the line of all cells: the deck would tip",
        "s.yaml:8:5: 0 m, 1 m lies 0.514 m beside the line of all cells: the deck would tip",
    ]


def test_a_profile_of_one_s_own_is_named_by_its_path_from_the_scenario(tmp_path: Path) -> None:
    from benchsim.ground.library import profiles_folder

    assert "r76-iii" in profile_names()
    own = (profiles_folder() / "r76-iii.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(own, "utf-8")
    (tmp_path / "s.yaml").write_text(HEAD + "rules: mine.toml\n", "utf-8")
    assert assemble(load(tmp_path / "s.yaml")).profile.name == "mine"
    (tmp_path / "mine.toml").write_text(own.replace("n_max =", "n_mix ="), "utf-8")
    with pytest.raises(Exception, match=r"mine\.toml:\d+:\d+: .*n_mix"):
        assemble(load(tmp_path / "s.yaml"))


def test_a_run_lasts_as_told_or_until_a_moment_after_the_last_thing_that_matters() -> None:
    assert built(HEAD + "lasts: 12.5 s\n").plan.lasts_us == 12_500_000
    assert built(HEAD + "checks: [within 3 s after 20 s motion is off]\n").plan.lasts_us == 25_000_000
    timeline = "timeline: [{at: 4 s, fault: zero-shift, for: 3.2 s}]\n"
    assert built(HEAD + timeline).plan.lasts_us == 10_000_000


@pytest.mark.parametrize(
    ("check", "lasts_s"),
    [
        ("within 10 s after the end of fault loose valid", 25),  # 12.1 s + 10 s + 2 s, in whole seconds
        ("within 10 s after the end of fault loose for at least 5 s valid", 30),
        ("within 10 s after the start of fault loose valid", 17),
        ("from the start of fault loose on for at least 20 s valid", 27),
        ("during fault loose valid", 15),
        ("for at least 25 s valid", 27),
        ("from 10 s to the end for at least 25 s valid", 37),
        ("never for more than 25 s valid", 15),
    ],
)
def test_a_run_left_open_lasts_long_enough_for_what_is_checked(check: str, lasts_s: int) -> None:
    timeline = "timeline: [{at: 5 s, fault: outage, as: loose, on: node 1, until: 12.1 s}]\n"
    assert built(f"{HEAD}{timeline}checks: [{check}]\n").plan.lasts_us == lasts_s * 1_000_000


def test_coefficients_come_from_the_data_sheet_so_that_a_perfect_scale_weighs_right() -> None:
    plan = built(
        HEAD + "cells: {capacity: 2 t, rated output: 3 mV/V}\nnodes: {bits: 20, full scale: 5 mV/V}\n"
    ).plan
    # 2000 kg give 3 mV/V; one count is 5 mV/V / 2**19.
    assert plan.host.seats[0].kg_per_count == pytest.approx(2000 / 3 * 5 / 2**19, rel=1e-9)
    # A quarter of 600 kg of dead load stands on each cell.
    assert plan.host.seats[0].zero_counts * plan.host.seats[0].kg_per_count == pytest.approx(150, rel=1e-9)
    assert plan.host.capacity_kg == Decimal(3000)


def test_a_node_s_converter_box_and_supply_come_from_the_file() -> None:
    plan = built(
        DECK + "nodes:\n  filter: {order: 3, notch: 50 Hz}\n  noise: 100000 noise-free counts\n  skew: 2 ms\n"
        "  offset: -0.01 mV/V\n  warmer: 12 K\n  reference effect: 5 ppm/K\n  clock effect: 0.04 ppm/K\n"
        "  supply: {source: battery, voltage: 6 V, charge: 80 %, lasts: 100 h,"
        " drop: 0.2 V, brown out: 4.5 V}\n"
    ).plan
    made = plan.scale.stations[0].digitiser
    assert (made.filter, made.filter_samples) == ("sinc3", 8)
    assert made.noise_rms_counts == pytest.approx(2**24 / 100_000 / 6.6, rel=1e-3)
    assert (made.skew_us, made.offset_mv_per_v, made.self_heating_k) == (2000, -0.01, 12.0)
    assert made.reference_effect_per_k == pytest.approx(5e-6)
    assert made.clock_effect_per_k == pytest.approx(0.04)
    assert plan.nodes[0].supply == Supply("battery", 6.0, 0.8, 100.0, 0.2, 4.5)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("{notch: 50 Hz, samples: 4}", "both samples and notch; keep one of them"),
        (
            "{notch: 49.9 Hz}",
            "notch: 49.9 Hz cannot be taken away at 80 samples a second; boxes of",
        ),
        ("{notch: 80 Hz}", "notch: 80 Hz cannot be taken away"),
    ],
)
def test_a_notch_that_cannot_be_is_told_with_its_place(line: str, said: str) -> None:
    [found] = told(DECK + f"nodes: {{filter: {line}}}\n")
    assert found.startswith("s.yaml:5:")
    assert said in found
