"""Check values of a radio link: path loss, noise, bit and frame errors, bursts.

Relations: ITU-R P.525 (free space; seen second hand), textbooks (two rays, log-distance, FSK; memory),
IEEE 802.15.4-2006 E.4.1.7 (spread O-QPSK; seen), Gilbert 1960 and Elliott 1963 (bursts; seen).  The values
were computed from them apart from this code; SciPy stands beside as a second oracle.
"""

from __future__ import annotations

import math

import pytest
from scipy.constants import Boltzmann, speed_of_light
from scipy.special import comb, erfc
from scipy.stats import binom, norm

from benchsim.link import radio
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.burst import Burst

MILE_M = 1609.344
SIX_DIGITS = 5e-6  # half a unit of the sixth digit of 1.00000


def linear(decibels: float) -> float:
    return math.pow(10.0, decibels / 10.0)


# -- path loss: ITU-R P.525 (seen second hand), values computed ----------------------------------------


@pytest.mark.parametrize(
    ("distance_m", "frequency_hz", "loss_db"),
    [
        (MILE_M, 915e6, 95.809),
        (MILE_M, 2.45e9, 104.364),
        (100.0, 915e6, 71.676),
        (100.0, 2.45e9, 80.231),
        (1.0, 915e6, 31.676),
        (1.0, 2.45e9, 40.231),
    ],
)
def test_free_space_loss_is_p_525_s(distance_m: float, frequency_hz: float, loss_db: float) -> None:
    found = radio.free_space_db(distance_m, frequency_hz)
    assert found == pytest.approx(loss_db, abs=5e-4)
    # 32.4478 + 20 log f/MHz + 20 log d/km, the recommendation's form with its exact constant
    engineering = 32.4478 + 20 * math.log10(frequency_hz / 1e6) + 20 * math.log10(distance_m / 1e3)
    assert found == pytest.approx(engineering, abs=1e-4)


def test_two_far_rays_over_a_mile_from_1_5_m_lose_121_22_db_at_any_frequency() -> None:
    # 40 log d - 20 log(ht hr) (memory), value computed
    assert radio.two_ray_far_db(MILE_M, (1.5, 1.5)) == pytest.approx(121.22, abs=5e-3)
    for frequency_hz in (915e6, 2.45e9):
        assert radio.two_ray_db(MILE_M, frequency_hz, (1.5, 1.5)) == pytest.approx(121.22, abs=5e-3)


@pytest.mark.parametrize(("frequency_hz", "metres"), [(915e6, 86.3), (2.45e9, 231.1)])
def test_the_curves_of_free_space_and_two_rays_cross_at_4_pi_h_h_over_lambda(
    frequency_hz: float, metres: float
) -> None:
    # relation memory, values computed; the first Fresnel zone's 4 h h / lambda is another breakpoint
    crossing = radio.crossing_m(frequency_hz, (1.5, 1.5))
    assert crossing == pytest.approx(metres, abs=0.05)
    assert crossing / math.pi == pytest.approx(4 * 1.5 * 1.5 * frequency_hz / speed_of_light)
    far, near = radio.two_ray_far_db(crossing, (1.5, 1.5)), radio.free_space_db(crossing, frequency_hz)
    assert far == pytest.approx(near, abs=1e-9)
    just_before = radio.two_ray_db(crossing * 0.999, frequency_hz, (1.5, 1.5))
    just_beyond = radio.two_ray_db(crossing * 1.001, frequency_hz, (1.5, 1.5))
    half_way = radio.two_ray_db(crossing / 2, frequency_hz, (1.5, 1.5))
    assert half_way == pytest.approx(near - 20 * math.log10(2), abs=1e-9)  # free space on this side
    assert 0 < just_beyond - just_before < 0.04  # 20 log and 40 log of a thousandth each: 0.026 dB


@pytest.mark.parametrize(("exponent", "loss_db"), [(2.0, 80.231), (3.0, 100.231), (4.0, 120.231)])
def test_log_distance_adds_10_n_db_a_decade_from_one_metre_on(exponent: float, loss_db: float) -> None:
    # L(d0) + 10 n log(d / d0) (memory): 40.231 dB at 1 m and two decades; n = 2 is free space again
    assert radio.log_distance_db(100.0, 2.45e9, exponent) == pytest.approx(loss_db, abs=5e-4)


# -- noise: k T B, values computed ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bandwidth_hz", "floor_dbm"), [(1.0, -173.975), (2e6, -110.96), (500e3, -116.99), (125e3, -123.01)]
)
def test_the_noise_floor_at_290_k(bandwidth_hz: float, floor_dbm: float) -> None:
    assert radio.noise_dbm(bandwidth_hz) == pytest.approx(floor_dbm, abs=6e-3)
    assert radio.noise_dbm(bandwidth_hz) == pytest.approx(
        10 * math.log10(Boltzmann * 290 * bandwidth_hz * 1000), abs=1e-9
    )
    assert radio.noise_dbm(bandwidth_hz, 6.0) == pytest.approx(floor_dbm + 6.0, abs=6e-3)


# -- bit errors ----------------------------------------------------------------------------------------

SPREAD = [
    (-2.0, 5.19700e-3, 0.565556),
    (-1.0, 1.14894e-3, 0.168012),
    (0.0, 1.61527e-4, 2.55152e-2),
    (1.0, 1.29119e-5, 2.06378e-3),
    (2.0, 5.13139e-7, 8.20989e-5),
]
FSK = [
    (8.0, 6.00439e-3, 2.13238e-2),
    (10.0, 7.82701e-4, 3.36897e-3),
    (12.0, 3.43026e-5, 1.80892e-4),
    (13.0, 3.96925e-6, 2.32441e-5),
    (14.0, 2.69515e-7, 1.75581e-6),
]


@pytest.mark.parametrize(("sinr_db", "bits", "frames"), SPREAD)
def test_bit_and_frame_errors_of_spread_o_qpsk(sinr_db: float, bits: float, frames: float) -> None:
    # IEEE 802.15.4-2006, E.4.1.7 (seen); frames of 20 octets: 1 - (1 - BER)^160 (memory), computed
    found = radio.oqpsk_bit_error(linear(sinr_db))
    assert found == pytest.approx(bits, rel=SIX_DIGITS)
    assert BitErrors(found).frame_error(20) == pytest.approx(frames, rel=SIX_DIGITS)
    assert BitErrors(found).frame_error(20) == pytest.approx(binom(160, found).sf(0), rel=1e-9)


def test_the_sum_for_spread_o_qpsk_holds_beside_scipy_and_ends_at_one_half() -> None:
    for sinr in (1e-3, 0.1, 0.5, 2.0, 5.0):
        terms = [(-1.0) ** k * comb(16, k) * math.exp(20 * sinr * (1 / k - 1)) for k in range(2, 17)]
        assert radio.oqpsk_bit_error(sinr) == pytest.approx(8 / 15 / 16 * sum(terms), rel=1e-9)
    assert radio.oqpsk_bit_error(0.0) == pytest.approx(0.5)


@pytest.mark.parametrize(("eb_n0_db", "coherent", "noncoherent"), FSK)
def test_bit_errors_of_orthogonal_fsk(eb_n0_db: float, coherent: float, noncoherent: float) -> None:
    # Q(sqrt(Eb/N0)) and exp(-Eb/2N0) / 2 (memory), values computed; SciPy's normal tail and erfc beside
    ratio = linear(eb_n0_db)
    assert radio.fsk_bit_error(ratio) == pytest.approx(coherent, rel=SIX_DIGITS)
    assert radio.fsk_bit_error(ratio) == pytest.approx(norm.sf(math.sqrt(ratio)), rel=1e-9)
    assert radio.fsk_bit_error(ratio) == pytest.approx(erfc(math.sqrt(ratio / 2)) / 2, rel=1e-12)
    assert radio.noncoherent_fsk_bit_error(ratio) == pytest.approx(noncoherent, rel=SIX_DIGITS)


# -- bursts --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("burst", "bad", "loss"),
    [
        (Burst(0.01, 0.25), 0.038462, 0.03846),
        (Burst(0.02, 0.2, 0.3, 0.999), 0.09091, 0.06455),
    ],
)
def test_the_loss_of_bursts(burst: Burst, bad: float, loss: float) -> None:
    # pi_B = p / (p + r); loss = pi_B (1 - h) + (1 - pi_B)(1 - k) (seen), values computed
    assert burst.bad_share == pytest.approx(bad, abs=5e-6)
    assert burst.loss == pytest.approx(loss, abs=6e-6)


def test_bursts_fitted_to_a_loss_and_its_correlation_have_them() -> None:
    # p = pi_B (1 - rho), r = (1 - pi_B)(1 - rho) for h 0, k 1 (seen)
    share, rho = 0.04, 0.8
    burst = Burst(share * (1 - rho), (1 - share) * (1 - rho))
    assert burst.loss == pytest.approx(share, rel=1e-12)
    assert 1 - burst.p - burst.r == pytest.approx(rho, rel=1e-12)
