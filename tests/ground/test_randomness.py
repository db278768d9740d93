"""Named child streams of one seed."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from benchsim.ground.randomness import Streams, normal_table


def test_the_table_holds_the_normal_quantiles() -> None:
    """Against SciPy's ndtri, another algorithm (Cephes)."""
    middles = (np.arange(65536) + 0.5) / 65536
    assert np.max(np.abs(normal_table() - special.ndtri(middles))) < 1e-9


def test_noise_is_normal_to_its_tails() -> None:
    drawn = Streams(1).noise("cell", 1).normal(2_000_000)
    assert abs(drawn.mean()) < 4 / np.sqrt(drawn.size)
    assert abs(drawn.std() - 1) < 4 / np.sqrt(2 * drawn.size)
    for sigma in (1.0, 2.0, 3.0, 4.0):
        expected = 2 * stats.norm.sf(sigma) * drawn.size
        assert abs(np.count_nonzero(np.abs(drawn) > sigma) - expected) < 5 * np.sqrt(expected)
    assert np.abs(drawn).max() > 4.5
    assert len(np.unique(drawn)) > 1_900_000


def test_neighbouring_draws_are_independent() -> None:
    drawn = Streams(2).noise("cell", 1).normal(500_000)
    assert abs(np.corrcoef(drawn[:-1], drawn[1:])[0, 1]) < 5 / np.sqrt(drawn.size)


@given(st.lists(st.integers(0, 40), max_size=12))
def test_the_size_of_a_block_does_not_show_in_what_is_drawn(sizes: list[int]) -> None:
    whole = Streams(3).noise("x").normal(sum(sizes))
    again = Streams(3).noise("x")
    parts = [again.normal(n) for n in sizes]
    assert np.array_equal(whole, np.concatenate([np.empty(0), *parts]))


def test_a_stream_depends_on_its_name_and_seed_alone() -> None:
    first = Streams(7).child("node", 2).noise("cell", 1).raw(4)
    assert np.array_equal(first, Streams(7).noise("node", 2, "cell", 1).raw(4))
    for other in (Streams(8).child("node", 2), Streams(7).child("node", 3), Streams("7").child("node", 20)):
        assert not np.array_equal(first, other.noise("cell", 1).raw(4))


def test_the_first_words_of_a_stream_never_change() -> None:
    """Recordings made with an older release must come out the same; these words were drawn on NumPy 2.4."""
    assert Streams(1).noise("cell", 1).raw(2).tolist() == FIRST_WORDS
    dice = Streams(1).dice("cell", 1)
    assert [dice.word(), dice.word()] == FIRST_WORDS


FIRST_WORDS = [9442236642170686268, 7893893625962494948]


def test_a_die_is_fair() -> None:
    dice = Streams(4).dice("loss")
    counts = np.bincount([dice.below(6) for _ in range(60_000)], minlength=6)
    assert stats.chisquare(counts).pvalue > 1e-6
    units = [dice.unit() for _ in range(20_000)]
    assert 0 <= min(units) < 0.001 < 0.999 < max(units) < 1
    assert stats.kstest(units, "uniform").pvalue > 1e-6


def test_octets_are_as_many_as_asked() -> None:
    dice = Streams(5).dice("key")
    assert [len(dice.octets(n)) for n in (0, 1, 8, 9, 32)] == [0, 1, 8, 9, 32]
