"""What cannot be a scale is refused in words that name the part, what was found, what would be right."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from benchsim.ground.errors import BadInput
from benchsim.scale.parts import Cell, Digitiser, ScaleParts, Station, Support, Touch, Vibration, Wind, Wiring
from benchsim.scale.validate import MOST_CELLS
from tests.scale.made import S, parts, scale

Spoil = Callable[[ScaleParts], ScaleParts]


def cell(**figures: object) -> Spoil:
    return lambda p: replace(p, cells=(*p.cells[:2], replace(p.cells[2], **figures), p.cells[3]))  # type: ignore[arg-type]


def wiring(bad: Wiring) -> Spoil:
    return lambda p: replace(p, wiring=(p.wiring[0], bad, *p.wiring[2:]))


def digitiser(**figures: object) -> Spoil:
    return lambda p: replace(
        p,
        stations=(replace(p.stations[0], digitiser=replace(Digitiser(), **figures)),),  # type: ignore[arg-type]
    )


def receptor(**figures: object) -> Spoil:
    return lambda p: replace(p, receptor=replace(p.receptor, **figures))  # type: ignore[arg-type]


def site(**figures: object) -> Spoil:
    return lambda p: replace(p, site=replace(p.site, **figures))  # type: ignore[arg-type]


def stations(*cells: tuple[int, ...]) -> Spoil:
    return lambda p: replace(p, stations=tuple(Station(c) for c in cells))


NAN = math.nan
BAD: list[tuple[Spoil, str]] = [
    (cell(e_max_kg=-30_000.0), "cell 3, e_max_kg: -30000; 0.001 to 1e+09"),
    (cell(e_max_kg=NAN), "cell 3, e_max_kg: nan"),
    (cell(rated_output_mv_per_v=0.0), "cell 3, rated_output_mv_per_v: 0"),
    (cell(rated_output_mv_per_v=-2.0), "cell 3, rated_output_mv_per_v: -2"),
    (cell(zero_balance_mv_per_v=math.inf), "cell 3, zero_balance_mv_per_v: inf"),
    (cell(nonlinearity=0.7), "cell 3, nonlinearity: 0.7; -0.5 to 0.5"),
    (cell(hysteresis=NAN), "cell 3, hysteresis: nan"),
    (cell(creep=((0.0001, 0.0),)), "cell 3, creep term 1, time constant in s: 0; 0.001 to 1e+09"),
    (cell(creep=((0.0001, 5.0), (2.0, 5.0))), "cell 3, creep term 2, fraction: 2"),
    (cell(span_effect_per_k=NAN), "cell 3, span_effect_per_k: nan"),
    (cell(input_resistance_ohm=0.0), "cell 3, input_resistance_ohm: 0"),
    (wiring(Wiring(lead_resistance_ohm=-1.0)), "wiring 2, lead_resistance_ohm: -1; a finite value, 0"),
    (wiring(Wiring(open=("SIG",))), "unknown wiring 2, terminal 'SIG'; did you mean 'SIG"),
    (wiring(Wiring(swapped=("signals",))), "unknown wiring 2, pair 'signals'; did you mean 'signal'"),
    (wiring(Wiring(leaks=(("SIG+", 0.0),))), "wiring 2, leak at SIG+: 0"),
    (wiring(Wiring(leaks=(("CASE", 1e6),))), "unknown wiring 2, terminal 'CASE'"),
    (wiring(Wiring(contacts=(("SIG+", -1.0),))), "wiring 2, contact at SIG+: -1; a finite value, 0"),
    (wiring(Wiring(contacts=(("SIG", 1.0),))), "unknown wiring 2, terminal 'SIG'"),
    (wiring(Wiring(shorts=(("SIG+", "SIG+", 1.0),))), "wiring 2: a short from SIG+ to itself; two terminals"),
    (wiring(Wiring(shorts=(("SIG+", "EXC+", NAN),))), "wiring 2, short from SIG+ to EXC+: nan"),
    (wiring(Wiring(shorts=(("SIG+", "CASE", 1.0),))), "unknown wiring 2, terminal 'CASE'"),
    (wiring(Wiring(lead_effect_per_k=NAN)), "wiring 2, lead_effect_per_k: nan; -0.1 to 0.1"),
    (cell(open_arms=("SIG+",)), "unknown cell 3, arm 'SIG+'; did you mean"),
    (cell(arm_shifts=(("EXC+/SIG+", -1.0),)), "cell 3, shift of arm EXC+/SIG+: -1; -0.99 to 100"),
    (cell(recovery=NAN), "cell 3, recovery: nan; -10 to 10"),
    (cell(repeatability=-1e-4), "cell 3, repeatability: -0.0001; 0 to 0.5"),
    (cell(thermal_time_constant_s=-1.0), "cell 3, thermal_time_constant_s: -1; 0 to 1e+09"),
    (cell(safe_load=0.0), "cell 3, safe_load: 0; 0.01 to 1000"),
    (cell(overload_set=2.0), "cell 3, overload_set: 2; -1 to 1"),
    (digitiser(common_mode_error=2.0), "station 1, common_mode_error: 2; -1 to 1"),
    (digitiser(rate_hz=0.0), "station 1, rate_hz: 0; 0.1 to 10000"),
    (digitiser(rate_hz=NAN), "station 1, rate_hz: nan"),
    (digitiser(bits=40), "station 1, bits: 40; 8 to 32"),
    (digitiser(full_scale_mv_per_v=0.0), "station 1, full_scale_mv_per_v: 0"),
    (digitiser(excitation_v=-5.0), "station 1, excitation_v: -5"),
    (digitiser(noise_rms_counts=-1.0), "station 1, noise_rms_counts: -1"),
    (digitiser(noise_rms_counts=3.0, noise_density_v_per_rthz=1e-8), "noise is given as density and as RMS"),
    (digitiser(filter="sinc9"), "unknown station 1, filter 'sinc9'; did you mean 'sinc"),
    (digitiser(filter_samples=0), "station 1, filter_samples: 0; 1 to 1024"),
    (digitiser(clock_error_ppm=NAN), "station 1, clock_error_ppm: nan"),
    (digitiser(clock_error_ppm=2e5), "station 1, clock_error_ppm: 200000; -100000 to 100000"),
    (digitiser(reference_error=-1.0), "station 1, reference_error: -1"),
    (digitiser(stuck_bits=24), "station 1, stuck_bits: 24; 0 to 23"),
    (site(wind=Wind(-1.0)), "site, wind, speed_m_per_s: -1; 0 to 100"),
    (site(vibration=Vibration(0.1, 0.0)), "site, vibration, frequency_hz: 0; 0.01 to 1000"),
    (receptor(touches=(Touch(0.0, 0.0, math.nan),)), "touch 1, stiffness_n_per_m: nan"),
    (receptor(touches=(Touch(0.0, 0.0),) * 17), "receptor, touches: 17 of them; at most 16"),
    (receptor(length_m=0.0), "receptor, length_m: 0"),
    (receptor(dead_load_kg=-1.0), "receptor, dead_load_kg: -1"),
    (receptor(natural_frequency_hz=NAN), "receptor, natural_frequency_hz: nan"),
    (receptor(damping_ratio=-0.1), "receptor, damping_ratio: -0.1"),
    (receptor(natural_frequency_hz=1e300), "receptor, natural_frequency_hz: 1e+300; 0.01 to 10000"),
    (receptor(damping_ratio=1e200), "receptor, damping_ratio: 1e+200; 0 to 100"),
    (cell(e_max_kg=1e-300), "cell 3, e_max_kg: 1e-300"),
    (receptor(width_m=2.0), "support 2: 0 m, 3 m lies outside the receptor; 0 to 8 m along and 0 to"),
    (receptor(supports=()), "receptor, supports: 0 for 4 cells"),
    (site(temperature_c=NAN), "site, temperature_c: nan"),
    (site(gravity_m_per_s2=0.0), "site, gravity_m_per_s2: 0"),
    (stations((0, 1, 2)), "cell 4: 0 stations read it"),
    (stations((0, 1, 2, 3), (3,)), "cell 4: 2 stations read it"),
    (stations((0, 1, 2, 3, 4)), "station 1, cells: 5 of them; 1 to 4"),
    (stations((0, 1, 2, 3), ()), "station 2, cells: 0 of them"),
    (stations((0, 1, 2, 7)), "station 1, cells: there is no cell 8; cells 1 to 4"),
    (lambda p: replace(p, wiring=p.wiring[:2]), "wiring: 2 for 4 cells"),
    (lambda p: replace(p, cells=()), f"cells: 0 of them; 1 to {MOST_CELLS}"),
]  # fmt: skip


@pytest.mark.parametrize(("spoil", "message"), BAD, ids=[m for _, m in BAD])
def test_what_cannot_be_a_scale_is_told_apart(spoil: Spoil, message: str) -> None:
    with pytest.raises(BadInput) as caught:
        scale(spoil(parts(digitiser=Digitiser())))
    assert message in str(caught.value)
    assert caught.value.right
    assert caught.value.place is None


def test_seventeen_cells_are_too_many() -> None:
    at = [(8.0 * i / 16, 1.5) for i in range(17)]
    with pytest.raises(BadInput, match=f"cells: 17 of them; 1 to {MOST_CELLS} cells"):
        scale(parts(at=at))
    scale(parts(at=at[:16]))


def test_a_receptor_that_its_dead_load_would_tip_over_is_refused() -> None:
    at = [(0.0, 0.0), (0.0, 3.0), (1.0, 1.5)]
    with pytest.raises(BadInput, match="support 1: the dead load lifts it by"):
        scale(parts(at=at, dead_load_kg=1_000.0))


def test_a_receptor_whose_dead_load_lies_beside_the_line_of_its_supports_is_refused() -> None:
    at = [(0.0, 1.0), (8.0, 1.0)]
    with pytest.raises(BadInput, match=r"receptor, supports: the dead load lies 0\.5 m beside their line"):
        scale(parts(at=at, dead_load_kg=1_000.0))
    scale(parts(at=at))
    scale(parts(at=[(0.0, 1.503), (8.0, 1.503)], dead_load_kg=1_000.0))
    scale(parts(at=[(2.0, 1.0)], dead_load_kg=1_000.0))


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (cell(e_max_kg=NAN), "cell 3, e_max_kg: nan"),
        (lambda p: parts(at=[(0.0, 0.0), (8.0, 1.0), (0.0, 3.0)]), "cells: 3 of them; 4, as at the start"),
        (stations((0, 1), (2, 3)), "stations: other cells on their channels"),
        (stations((1, 0, 2, 3)), "stations: other cells on their channels"),
        (digitiser(rate_hz=100.0), "station 1, rate_hz: 100.0; 80.0, as at the start"),
        (digitiser(filter="sinc3"), "station 1, filter: sinc3; none, as at the start"),
    ],
)
def test_a_change_to_another_shape_is_refused_and_changes_nothing(spoil: Spoil, message: str) -> None:
    made = parts(digitiser=Digitiser())
    here, there = scale(made), scale(made)
    with pytest.raises(BadInput) as caught:
        here.change(spoil(made), S)
    assert message in str(caught.value)
    assert here.read(0, 3 * S).counts.tobytes() == there.read(0, 3 * S).counts.tobytes()


def test_a_fault_may_take_all_output_away() -> None:
    made = scale(parts(Cell(30_000.0), dead_load_kg=4_000.0))
    dead = replace(parts().cells[0], rated_output_mv_per_v=0.0)
    made.change(replace(parts(dead_load_kg=4_000.0), cells=(dead, *parts().cells[1:])), S)
    found = made.read(0, 2 * S).counts[-1]
    assert found[0] == 0
    assert found[1] > 0


def test_a_support_at_the_very_edge_is_on_the_receptor() -> None:
    made = parts()
    edge = replace(made.receptor, supports=(Support(8.0, 3.0), *made.receptor.supports[1:]))
    scale(replace(made, receptor=edge))
