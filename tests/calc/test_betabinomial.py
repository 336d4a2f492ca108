"""The beta-binomial fit, against published fits and a likelihood worked out another way."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import betaln, gammaln
from scipy.stats import betabinom, binom

from nursery.calc.take import fit_beta_binomial

Season = tuple[list[int], list[int], list[str]]  # alive, grafted, group

GRID_RHO = 1 / (1 + np.exp(-np.linspace(-7, 7, 57)))
GRID_MU = np.linspace(0.005, 0.995, 199)


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    groups = draw(st.lists(st.sampled_from("AB"), min_size=1, max_size=8))
    grafted = [draw(st.integers(1, 20)) for _ in groups]
    alive = [draw(st.integers(0, n)) for n in grafted]
    return alive, grafted, groups


def log_likelihood(season: Season, mu: dict[str, float], rho: float) -> float:
    """Return what scipy's own distributions say, flat by flat."""
    total = 0.0
    for r, n, group in zip(*season, strict=True):
        mean = mu[group]
        if rho == 0.0 or mean in (0.0, 1.0):
            total += float(binom.logpmf(r, n, mean))
        elif rho == 1.0:
            total += math.log(mean if r else 1 - mean)
        else:
            size = 1 / rho - 1
            total += float(betabinom.logpmf(r, n, mean * size, (1 - mean) * size))
    return total


def best_on_grid(season: Season) -> float:
    """Return the highest likelihood over a grid of rho and of one mean a group."""
    by_group = dict.fromkeys(season[2], 0.0)
    size = 1 / GRID_RHO[:, None] - 1
    a, b = GRID_MU * size, (1 - GRID_MU) * size
    for r, n, group in zip(*season, strict=True):
        choose = gammaln(n + 1) - gammaln(r + 1) - gammaln(n - r + 1)
        by_group[group] = by_group[group] + choose + betaln(a + r, b + n - r) - betaln(a, b)
    return float(np.max(sum(surface.max(axis=1) for surface in by_group.values())))


def test_agrees_with_crowder_s_four_means(crowder):
    fit = fit_beta_binomial(*crowder.plates)
    means = dict(
        zip(("75bean", "75cuc", "73bean", "73cuc"), (0.36773, 0.68527, 0.39065, 0.51939), strict=True)
    )
    assert fit.rho == pytest.approx(0.012361, abs=5e-7)
    assert fit.log_likelihood == pytest.approx(-53.76676, abs=5e-6)
    assert fit.mu == pytest.approx(means, abs=6e-6)
    published = crowder.expected["betabin"]
    assert list(means.values()) == published["cell_means_75bean_75cuc_73bean_73cuc"]
    assert 1 / fit.rho - 1 == pytest.approx(published["a_plus_b"], abs=5e-4)


def test_agrees_with_crowder_s_plates_as_one_group(crowder):
    alive, grafted, _ = crowder.plates
    fit = fit_beta_binomial(alive, grafted)
    assert fit.mu == pytest.approx(0.493572, abs=6e-7)
    assert fit.rho == pytest.approx(0.081572, abs=6e-7)
    assert fit.log_likelihood == pytest.approx(-64.51628, abs=5e-6)


def test_agrees_with_the_boys_of_saxony():
    # Source: A. Geissler (1889), boys among the first 12 of 13 children in 6115 families; counts and the
    # mean .5192 as in the textbook CAST. Fit a = 34.1, b = 31.6, log-likelihood -12492.9: from memory.
    families = (3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7)
    boys = [count for count, times in enumerate(families) for _ in range(times)]
    fit = fit_beta_binomial(boys, [12] * len(boys))
    size = 1 / fit.rho - 1
    assert len(boys) == 6115
    assert fit.mu == pytest.approx(0.5192, abs=5e-5)
    assert (fit.mu * size, (1 - fit.mu) * size) == pytest.approx((34.1, 31.6), abs=0.05)
    assert fit.log_likelihood == pytest.approx(-12492.9, abs=0.05)


@settings(deadline=None, max_examples=30)
@given(seasons())
def test_nothing_on_a_grid_is_likelier(season):
    assert fit_beta_binomial(*season).log_likelihood >= best_on_grid(season) - 1e-8


@settings(deadline=None, max_examples=30)
@given(seasons())
def test_the_likelihood_is_that_of_its_own_means_and_rho(season):
    fit = fit_beta_binomial(*season)
    rho = fit.rho or 0.0
    assert 0.0 <= rho <= 1.0
    assert fit.log_likelihood == pytest.approx(log_likelihood(season, fit.mu, rho), abs=1e-6)


@settings(deadline=None, max_examples=30)
@given(seasons())
def test_never_less_likely_than_the_binomial(season):
    shares = {
        group: sum(r for r, _, g in zip(*season, strict=True) if g == group)
        / sum(n for _, n, g in zip(*season, strict=True) if g == group)
        for group in season[2]
    }
    fit, binomial = fit_beta_binomial(*season), log_likelihood(season, shares, 0.0)
    assert fit.log_likelihood >= binomial - 1e-9
    if fit.rho == 0.0:
        assert fit.mu == pytest.approx(shares)
        assert fit.log_likelihood == pytest.approx(binomial, abs=1e-9)


def test_flats_more_alike_than_chance_have_no_correlation():
    fit = fit_beta_binomial([36, 36, 36], [72, 72, 72])
    assert (fit.mu, fit.rho) == (0.5, 0.0)
    assert fit.log_likelihood == pytest.approx(3 * math.log(math.comb(72, 36) / 2**72))


def test_flats_that_live_or_die_as_a_whole_are_fully_correlated():
    # By hand: each flat is one toss; the worked example of the module.
    assert fit_beta_binomial([2, 0], [2, 2]).log_likelihood == pytest.approx(2 * math.log(0.5))
    fit = fit_beta_binomial([50, 0, 72, 72], [50, 50, 72, 72], "AAAA")
    assert (fit.mu, fit.rho) == ({"A": 0.75}, 1.0)
    assert fit.log_likelihood == pytest.approx(3 * math.log(0.75) + math.log(0.25))


def test_flats_of_one_cell_say_nothing_of_correlation():
    fit = fit_beta_binomial([1, 0, 1, 1], [1, 1, 1, 1], "AABB")
    assert (fit.mu, fit.rho) == ({"A": 0.5, "B": 1.0}, None)
    assert fit.log_likelihood == pytest.approx(2 * math.log(0.5))


def test_groups_wholly_alive_or_dead_change_neither_rho_nor_likelihood():
    plain = fit_beta_binomial([30, 45, 40], [50, 50, 50], "AAA")
    fit = fit_beta_binomial([30, 72, 45, 0, 72, 40], [50, 72, 50, 9, 72, 50], "ABACBA")
    assert fit.mu == {"A": plain.mu["A"], "B": 1.0, "C": 0.0}
    assert list(fit.mu) == ["A", "B", "C"]
    assert (fit.rho, fit.log_likelihood) == (plain.rho, plain.log_likelihood)
    assert plain.rho > 0.0


def test_all_alive_is_certain():
    fit = fit_beta_binomial([72, 50], [72, 50])
    assert (fit.mu, fit.rho, fit.log_likelihood) == (1.0, 0.0, 0.0)


def test_single_flat_is_binomial():
    fit = fit_beta_binomial([5], [10])
    assert (fit.mu, fit.rho) == (0.5, 0.0)
    assert fit.log_likelihood == pytest.approx(math.log(252 / 1024))


def test_finds_a_strong_correlation_near_one():
    season = ([50, 0, 50, 49, 0, 1], [50] * 6, ["A"] * 6)
    fit = fit_beta_binomial(*season)
    assert 0.8 < fit.rho < 1.0
    for rho in (fit.rho - 1e-3, fit.rho + 1e-3):
        assert log_likelihood(season, fit.mu, rho) < fit.log_likelihood


def test_recovers_what_many_flats_were_made_with():
    rng = np.random.default_rng(7)
    groups = np.repeat(np.arange(40), 25)
    mu = rng.uniform(0.6, 0.95, 40)[groups]
    alive = betabinom.rvs(72, mu * 19, (1 - mu) * 19, random_state=rng)
    fit = fit_beta_binomial(alive, np.full(1000, 72), groups.tolist())
    assert fit.rho == pytest.approx(1 / 20, abs=0.006)
    assert len(fit.mu) == 40


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([], []), r"alive must hold at least one flat"),
        (([1], [0]), r"grafted must be at least 1"),
        (([3], [2]), r"alive must be between 0 and grafted"),
        (([1], [2, 2]), r"grafted must be as long as alive"),
        (([1], [2], "AB"), r"groups must be as long as alive"),
    ],
)
def test_impossible_columns_are_named(arguments, message):
    with pytest.raises(ValueError, match=message):
        fit_beta_binomial(*arguments)
