"""Wilson's interval of a share and Newcombe's of a difference, against published cases."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from nursery.calc.intervals import newcombe_difference, wilson_from_share, wilson_interval

DATA = Path(__file__).parents[1] / "data"
Z95 = 1.959963984540054  # normal quantile at 0.975; from memory

levels = st.floats(0.5, 0.999)
counts = st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open() as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


@pytest.mark.parametrize("row", rows("binomial_intervals.csv"))
def test_wilson_agrees_with_newcombe_1998(row):
    # Source: cases of Newcombe (1998), Stat Med 17, 857, Table I; figures by statsmodels.
    low, high = wilson_interval(int(row["x"]), int(row["n"]))
    assert low == pytest.approx(float(row["wilson_lo"]), abs=6e-7)
    assert high == pytest.approx(float(row["wilson_hi"]), abs=6e-7)


@pytest.mark.parametrize(
    ("x", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_agrees_with_the_printed_table(x, n, low, high):
    # Source: Newcombe (1998), Stat Med 17, 857, Table I, method 3; from memory.
    assert wilson_interval(x, n) == pytest.approx((low, high), abs=6e-5)


@given(counts, levels)
def test_wilson_agrees_with_statsmodels(count, level):
    expected = proportion_confint(*count, alpha=1 - level, method="wilson")
    assert wilson_interval(*count, level=level) == pytest.approx(expected, abs=1e-9)


@given(counts, levels)
def test_wilson_ends_solve_wilson_s_equation(count, level):
    x, n = count
    low, high = wilson_interval(x, n, level=level)
    z = math.sqrt(n) * (x / n - low) / math.sqrt(low * (1 - low)) if low else None
    again = math.sqrt(n) * (high - x / n) / math.sqrt(high * (1 - high)) if high < 1 else None
    for found in (z, again):
        if found is not None:
            assert math.erf(found / math.sqrt(2)) == pytest.approx(level, abs=1e-9)


@given(counts, levels)
def test_wilson_holds_the_share_within_0_and_1(count, level):
    x, n = count
    low, high = wilson_interval(x, n, level=level)
    assert 0 <= low <= x / n <= high <= 1
    assert (low == 0) == (x == 0)
    assert (high == 1) == (x == n)


@given(counts)
def test_wilson_of_the_dead_mirrors_the_living(count):
    x, n = count
    low, high = wilson_interval(x, n)
    assert wilson_interval(n - x, n) == pytest.approx((1 - high, 1 - low), abs=1e-12)


@pytest.mark.parametrize("n", [1, 3, 72, 10**9, 10**15])
def test_wilson_is_exact_at_none_and_all(n):
    assert wilson_interval(0, n)[0] == 0.0
    assert wilson_interval(n, n)[1] == 1.0


def test_wilson_stands_extreme_levels():
    assert wilson_interval(5, 10, level=1e-12) == pytest.approx((0.5, 0.5))
    low, high = wilson_interval(5, 10, level=1 - 1e-16)
    assert 0 < low < 0.1 and 0.9 < high < 1


@given(counts)
def test_wilson_from_share_at_the_normal_quantile_is_wilson(count):
    x, n = count
    assert wilson_from_share(x / n, n, Z95) == pytest.approx(wilson_interval(x, n), abs=1e-9)


def test_fewer_effective_units_give_a_wider_interval():
    low, high = wilson_from_share(0.9, 72, Z95)
    wider_low, wider_high = wilson_from_share(0.9, 36.5, Z95)
    assert wider_low < low and wider_high > high


@pytest.mark.parametrize("row", rows("newcombe_difference.csv"))
def test_difference_agrees_with_newcombe_1998(row):
    # Source: cases of Newcombe (1998), Stat Med 17, 873, Table II, method 10; figures by statsmodels.
    found = newcombe_difference(*(int(row[name]) for name in ("x1", "n1", "x2", "n2")))
    expected = (float(row["newcombe10_lo"]), float(row["newcombe10_hi"]))
    assert found == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize(
    ("case", "low", "high"),
    [
        ((56, 70, 48, 80), 0.0524, 0.3339),
        ((9, 10, 3, 10), 0.1705, 0.8090),
        ((6, 7, 2, 7), 0.0582, 0.8062),
        ((5, 56, 0, 29), -0.0381, 0.1926),
        ((0, 10, 0, 20), -0.1611, 0.2775),
        ((0, 10, 0, 10), -0.2775, 0.2775),
        ((10, 10, 0, 20), 0.6791, 1.0000),
        ((10, 10, 0, 10), 0.6075, 1.0000),
    ],
)
def test_difference_agrees_with_the_printed_table(case, low, high):
    # Source: Newcombe (1998), Stat Med 17, 873, Table II (a) to (h), method 10; from memory.
    assert newcombe_difference(*case) == pytest.approx((low, high), abs=6e-5)


@given(counts, counts, levels)
def test_difference_agrees_with_statsmodels(first, second, level):
    expected = confint_proportions_2indep(*first, *second, method="newcomb", alpha=1 - level)
    assert newcombe_difference(*first, *second, level=level) == pytest.approx(expected, abs=1e-9)


@given(counts, counts)
def test_difference_lies_within_its_bounds_and_turns_round(first, second):
    low, high = newcombe_difference(*first, *second)
    assert -1 <= low <= high <= 1
    assert newcombe_difference(*second, *first) == pytest.approx((-high, -low), abs=1e-12)


def test_difference_is_exact_where_all_and_none_meet():
    assert newcombe_difference(7, 7, 0, 9)[1] == 1.0
    assert newcombe_difference(0, 9, 7, 7)[0] == -1.0


@pytest.mark.parametrize(
    ("successes", "trials", "name"),
    [
        (1, 0, "trials"),
        (1, -5, "trials"),
        (0, 0, "trials"),
        (-1, 5, "successes"),
        (6, 5, "successes"),
        (True, 5, "successes"),
        (1, True, "trials"),
        (2.5, 5, "successes"),
        (2, 5.5, "trials"),
        (math.nan, 5, "successes"),
        (2, math.inf, "trials"),
        ("2", 5, "successes"),
        (None, 5, "successes"),
    ],
)
def test_impossible_counts_are_named(successes, trials, name):
    with pytest.raises(ValueError, match=f"^{name} must be"):
        wilson_interval(successes, trials)


@pytest.mark.parametrize(
    ("case", "name"),
    [
        ((5, 4, 1, 2), "x1"),
        ((1, 0, 1, 2), "n1"),
        ((1, 2, -1, 2), "x2"),
        ((1, 2, 1, False), "n2"),
        ((1, 2, 1.5, 3), "x2"),
    ],
)
def test_impossible_counts_of_a_difference_are_named(case, name):
    with pytest.raises(ValueError, match=f"^{name} must be"):
        newcombe_difference(*case)


def test_whole_numbers_of_other_types_are_taken():
    assert wilson_interval(81.0, 263.0) == wilson_interval(81, 263)


@pytest.mark.parametrize("level", [0, 1, -0.1, 95, math.nan, True])
def test_impossible_levels_are_named(level):
    with pytest.raises(ValueError, match=r"^level must be"):
        wilson_interval(1, 2, level=level)
    with pytest.raises(ValueError, match=r"^level must be"):
        newcombe_difference(1, 2, 1, 2, level=level)


@pytest.mark.parametrize(
    ("share", "n", "quantile", "name"),
    [
        (-0.1, 5, 2, "share"),
        (1.1, 5, 2, "share"),
        (math.nan, 5, 2, "share"),
        (0.5, 0, 2, "n"),
        (0.5, math.inf, 2, "n"),
        (0.5, 5, 0, "quantile"),
        (0.5, 5, math.nan, "quantile"),
    ],
)
def test_impossible_shares_are_named(share, n, quantile, name):
    with pytest.raises(ValueError, match=f"^{name} must be"):
        wilson_from_share(share, n, quantile)
