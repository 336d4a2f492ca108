"""Samples of a batch. Expected sizes by hand; that the lot is fair is checked by counting."""

from collections import Counter

import pytest

from nursery.calc.sampling import draw_sample, sample_size

CODES = [f"F{number:03}" for number in range(40)]


@pytest.mark.parametrize(("flats", "size"), [(0, 0), (5, 5), (6, 6), (15, 6), (20, 6), (21, 7), (40, 12)])
def test_three_tenths_and_at_least_6(flats, size):
    assert sample_size(flats) == size


def test_the_same_flats_whoever_asks_and_a_larger_sample_holds_the_smaller():
    drawn = draw_sample(CODES, 12, seed="batch")
    assert drawn == draw_sample(reversed_(CODES), 12, seed="batch")
    assert draw_sample(CODES, 20, seed="batch")[:12] == drawn
    assert len(set(drawn)) == 12 and set(drawn) <= set(CODES)
    assert draw_sample(CODES, 12, seed="another") != drawn


def reversed_(codes):
    return list(reversed(codes))


def test_every_flat_has_the_same_chance():
    # 2000 batches, 12 of 40 each: a flat comes 600 times on average; five standard deviations
    # (sqrt(2000 x 0.3 x 0.7) = 20.5) on either side.
    times = Counter(code for batch in range(2000) for code in draw_sample(CODES, 12, seed=str(batch)))
    assert all(498 <= times[code] <= 702 for code in CODES)


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(ValueError, match="flats must be at least 0, got -1"):
        sample_size(-1)
    with pytest.raises(ValueError, match="size must be between 0 and 40, got 41"):
        draw_sample(CODES, 41, seed="batch")
