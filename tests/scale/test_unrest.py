"""Wind and floor: spectra beside closed forms by SciPy, the deck's answer beside its transfer function."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, signal

from benchsim.ground.commands import Place
from benchsim.ground.randomness import Streams
from benchsim.scale.parts import Cell, Digitiser, ScaleParts, Site, Station, Touch, Vibration, Wind
from benchsim.scale.processes import Band, Wander
from benchsim.scale.unrest import LAGS, Gusts, Unrest, kaimal
from tests.scale.made import FINE, S, output_mv_per_v, parts, scale

Floats = NDArray[np.float64]
G = 9.80665


def test_the_spectrum_of_wind_holds_all_of_its_variance() -> None:
    whole, _ = integrate.quad(lambda f: float(kaimal(np.array(f))), 0.0, math.inf)
    assert whole == pytest.approx(1.0, abs=1e-9)


def test_the_lags_together_are_the_spectrum() -> None:
    """One-sided spectrum of a lag of variance 1: 2 / pi x c / (c^2 + f^2)."""
    f = np.logspace(-4, math.log10(30.0), 200)
    made = sum(share * 2.0 / math.pi * c / (c * c + f * f) for c, share in LAGS)
    assert made == pytest.approx(kaimal(f), rel=0.04)
    assert sum(share for _, share in LAGS) == pytest.approx(1.0, abs=2e-3)


def test_gusts_have_kaimal_s_spectrum() -> None:
    """An hour and a half of wind by Welch's method, in thirds of a decade: some 300 averages each."""
    wind = Wind(8.0, 0.2, 4.0)
    rate_hz = 10.0
    t_us = np.arange(1 << 16, dtype=np.int64) * 100_000
    u = Gusts(wind, Streams(3), 0).at(t_us)
    f_hz, power = signal.welch(u, rate_hz, nperseg=2_048)
    expected = kaimal(f_hz * wind.height_m / wind.speed_m_per_s) * wind.height_m / wind.speed_m_per_s
    for low in np.logspace(-1.8, 0.0, 7):
        band = (f_hz >= low) & (f_hz < low * 10 ** (1 / 3))
        assert power[band].mean() == pytest.approx(expected[band].mean(), rel=0.12)
    assert u.var() == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("bandwidth_hz", [0.5, 4.0])
def test_a_tremor_lies_about_its_frequency_as_wide_as_it_says(bandwidth_hz: float) -> None:
    """A Lorentz line of variance 1: S = 2 / (pi b) / (1 + (2 (f - f0) / b)^2), one-sided."""
    rate_hz, f0_hz = 80.0, 13.0
    t_us = np.arange(1 << 16, dtype=np.int64) * 12_500
    a = Band(Streams(4), f0_hz, bandwidth_hz, 0).at(t_us)
    f_hz, power = signal.welch(a, rate_hz, nperseg=2_048)
    line = 2.0 / (math.pi * bandwidth_hz) / (1.0 + (2.0 * (f_hz - f0_hz) / bandwidth_hz) ** 2)
    for edges in ((-1.0, -0.5), (-0.5, 0.5), (0.5, 1.0), (1.0, 2.0)):
        band = (f_hz >= f0_hz + edges[0] * bandwidth_hz) & (f_hz < f0_hz + edges[1] * bandwidth_hz)
        assert power[band].mean() == pytest.approx(line[band].mean(), rel=0.15)
    assert a.var() == pytest.approx(1.0, abs=0.1)


def test_a_process_says_the_same_of_an_instant_however_it_is_asked() -> None:
    def fresh() -> Wander:
        return Wander(Streams(9), (0.1, 2.0), 7_000, 500)

    t_us = 500 + np.arange(0, 40_000_000, 9_973)
    whole = fresh().at(t_us)
    walk = fresh()
    parts_read = [walk.at(t_us[n : n + 37]) for n in range(0, len(t_us), 37)]
    assert (np.concatenate(parts_read, axis=1) == whole).all()
    far = np.array([3_000_000_000], np.int64)
    walk.at(far)  # so far that the beginning is dropped
    assert (walk.at(t_us[:5]) == whole[:, :5]).all()
    assert (walk.at(far) == fresh().at(far)).all()


def test_lags_have_variance_one_and_their_own_memory() -> None:
    """Correlation exp(-2 pi fc t); 20 000 s are some 6 000 memories of the slower."""
    t_us = np.arange(0, 20_000_000_000, 100_000)
    slow, quick = Wander(Streams(11), (0.05, 1.0), 100_000, 0).at(t_us)
    for lag, corner_hz in ((slow, 0.05), (quick, 1.0)):
        assert lag.var() == pytest.approx(1.0, abs=0.06)
        steps = round(0.1 / corner_hz * 10) if corner_hz < 1 else 1
        expected = math.exp(-2.0 * math.pi * corner_hz * steps * 0.1)
        assert np.mean(lag[steps:] * lag[:-steps]) == pytest.approx(expected, abs=0.06)
    assert abs(np.mean(slow * quick)) < 0.05


def test_the_mean_lift_of_wind_is_of_the_mean_square_of_its_speed() -> None:
    wind = Wind(12.0, 0.25, 2.0, 6.0)
    unrest = Unrest.of(Site(wind=wind), Streams(2), 0)
    assert unrest is not None
    lift = unrest.lift_kg(np.arange(0, 6_000 * S, 50_000))
    expected = 0.5 * 1.2 * 6.0 * 12.0**2 * (1.0 + 0.25**2) / G
    assert np.mean(lift) == pytest.approx(expected, rel=0.03)
    steady = Unrest.of(Site(wind=replace(wind, turbulence=0.0)), Streams(2), 0)
    assert steady is not None
    assert steady.lift_kg(np.array([5 * S])) == pytest.approx(0.5 * 1.2 * 6.0 * 144.0 / G)


def sum_kg(site: Site, seconds: int = 60, load_kg: float = 10_000.0) -> Floats:
    made = replace(parts(Cell(30_000.0), dead_load_kg=4_000.0), site=site)
    running = scale(made)
    running.do(Place("block", load_kg, 4.0, 1.5), 0)
    whole = output_mv_per_v(running.read(0, seconds * S)).sum(axis=1)
    return np.asarray(whole[20 * 80 :] / 2.0 * 30_000.0)


@pytest.mark.parametrize("frequency_hz", [3.0, 7.5, 12.0])
def test_a_steady_tremor_is_answered_by_the_deck_s_own_second_order(frequency_hz: float) -> None:
    """Base excitation: the force on the springs is m a |H|, H = 1 / (1 - r^2 + 2 i D r), r = f / f0; a wave
    that stays has the size of its two draws."""
    tremor = Vibration(0.05, frequency_hz, 0.0)
    found = sum_kg(Site(vibration=tremor), 40)
    own = Band(Streams(1).child("floor", 0), frequency_hz, 0.0, 0).at(np.arange(0, 20 * S, 1_000))
    ratio = frequency_hz / 8.0
    gain = 1.0 / abs(complex(1.0 - ratio**2, 2.0 * 0.08 * ratio))
    # A change that is straight between samples: sinc squared of the wave at 80 a second.
    hold = np.sinc(frequency_hz / 80.0) ** 2
    expected = 14_000.0 * 0.05 / G * own.std() * gain * hold
    assert found.std() == pytest.approx(expected, rel=0.02)
    assert found.mean() == pytest.approx(14_000.0, abs=0.5)


def test_every_station_feels_the_same_wind_by_its_own_clock() -> None:
    at = [(x, y) for x in (0.0, 4.0, 8.0, 6.0) for y in (0.0, 3.0)]
    made = parts(Cell(30_000.0), at, dead_load_kg=8_000.0, natural_frequency_hz=10.0, damping_ratio=0.7)
    fast = replace(FINE, clock_error_ppm=2_000.0)
    made = replace(
        made, site=Site(wind=Wind(15.0, 0.3, 2.0, 20.0)),
        stations=(made.stations[0], Station(made.stations[1].cells, fast)),
    )  # fmt: skip
    running = scale(made)
    one, other = running.read(0, 60 * S), running.read(1, 60 * S)
    a, b = output_mv_per_v(one).sum(axis=1), output_mv_per_v(other).sum(axis=1)
    again = np.interp(one.t_us[160:-160], other.t_us, b)
    assert np.corrcoef(a[160:-160], again)[0, 1] > 0.999


def shaken() -> ScaleParts:
    made = parts(Cell(30_000.0), dead_load_kg=4_000.0, digitiser=Digitiser(noise_rms_counts=3.0))
    return replace(made, site=Site(wind=Wind(9.0), vibration=Vibration(0.03, 11.0, 2.0)))


@pytest.mark.parametrize("step_us", [12_500, 777_777, 5_000_000])
def test_a_shaken_scale_gives_the_same_bytes_however_read(step_us: int) -> None:
    """With a load that comes and a wind that rises on the way, told as late as may be."""

    def played(step: int) -> bytes:
        running, blocks, waiting = scale(shaken()), [], [4 * S, 9 * S, 14 * S]
        for t_us in [*range(step, 20 * S, step), 20 * S]:
            while waiting and waiting[0] < t_us:
                at_us = waiting.pop(0)
                if at_us == 9 * S:
                    running.change(replace(shaken(), site=Site(wind=Wind(14.0))), at_us)
                elif at_us == 4 * S:
                    running.do(Place("block", 9_000.0, 5.0, 1.0), at_us)
                else:
                    running.change(replace(shaken(), site=Site()), at_us)
            blocks.append(running.read(0, t_us).counts)
        return np.concatenate(blocks).tobytes()

    assert played(step_us) == played(20 * S)


def test_wind_lifts_in_the_middle_of_the_deck() -> None:
    """Four corners share it alike: moments about both axes."""
    made = replace(parts(Cell(30_000.0), dead_load_kg=4_000.0), site=Site(wind=Wind(20.0, 0.0, 2.0, 10.0)))
    cells_kg = output_mv_per_v(scale(made).read(0, 20 * S))[-1] / 2.0 * 30_000.0
    lift_kg = 0.5 * 1.2 * 10.0 * 400.0 / G
    assert cells_kg == pytest.approx([1_000.0 - lift_kg / 4] * 4, abs=1e-3)


def test_a_change_of_the_deck_leaves_the_wind_as_it_blows() -> None:
    """A thrust of a thousandth of a gram: the same gusts, to a count."""
    made = replace(shaken(), stations=(replace(shaken().stations[0], digitiser=Digitiser()),))
    pushed = replace(made.receptor, touches=(Touch(4.0, 1.5, push_kg=1e-6),))
    one, other = scale(made), scale(made)
    other.change(replace(made, receptor=pushed), 3 * S)
    apart = np.abs(one.read(0, 9 * S).counts - other.read(0, 9 * S).counts)
    assert apart.max() <= 1


def test_a_warmer_site_leaves_the_wind_as_it_blows() -> None:
    warmer = replace(shaken(), site=replace(shaken().site, temperature_c=21.0))
    one, other = scale(shaken()), scale(shaken())
    other.change(warmer, 3 * S)
    assert (one.read(0, 8 * S).counts == other.read(0, 8 * S).counts).all()
