"""A beta-binomial fit: how alike are the cells of one flat?

Each flat has its own chance of a graft living, drawn from a beta distribution around the mean mu of its
group; given that chance its cells live or die independently. The spread of the beta is told by rho, the
intraclass correlation: 0 means that all flats of a group have the same chance (the binomial), 1 that a
flat lives or dies as a whole. In the usual letters mu = a / (a + b) and rho = 1 / (a + b + 1). One rho is
common to all groups.

For a flat with r alive of n the log-likelihood is

    log C(n, r) + sum_{k<r} log(mu (1-rho) + k rho) + sum_{k<n-r} log((1-mu)(1-rho) + k rho)
                - sum_{k<n} log(1-rho + k rho).

Summed over flats, each k comes as often as there are flats with more than k alive, dead or in all, so only
these numbers are kept. For a given rho the sum is concave in mu: each group's mean is found by Newton's
method, kept between brackets. What remains is a curve in rho alone. Its slope is looked at along a grid from
0 to 1; each place where it turns from rising to falling is solved for, and the highest such top is compared
with rho = 0, since the curve may have several tops or none.

Edges. Where no top is higher than the binomial, rho is 0.0. A group in which all cells live, or none, has
mean 1 or 0 and fits any rho equally well. If every flat of the other groups is wholly alive or wholly dead,
rho is 1.0. If each flat has one cell there are no two cells to be alike, and rho is None.

Worked example. Two flats of 2, one with both alive, one with both dead: each has the probability
(1 + rho) / 4 at mu = 1/2, highest at rho = 1, so the log-likelihood is 2 log(1/2) = -1.386; the binomial's
is 2 log(1/4) = -2.773.

Sources: J. G. Skellam (1948), J R Stat Soc B 10, 257-261; D. A. Griffiths (1973), Biometrics 29, 637-648; the
counts over k as in D. M. Smith (1983), Algorithm AS 189, Appl Statist 32, 196-204. Checked with the plates of
M. J. Crowder (1978), Appl Statist 27, 34-37, table 3.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nursery.calc.intervals import check_lengths, checked_counts

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# The grid of rho: 0, then from 1e-8 to 1 - 1e-8, evenly on the logit scale, three to a power of ten.
_GRID_END_LOGIT, _GRID_POINTS = 18.42, 49
# A gain in log-likelihood below this is rounding, not a difference of flats.
_LEAST_GAIN = 1e-9
_MEAN_TOLERANCE = 1e-14
_MOST_STEPS = 200

_Counts = list[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class BetaBinomialFit:
    """Means by group (or one mean), the common intraclass correlation, and the log-likelihood reached."""

    mu: float | dict[Hashable, float]
    rho: float | None
    log_likelihood: float


def fit_beta_binomial(
    alive: Sequence[int], grafted: Sequence[int], groups: Sequence[Hashable] | None = None
) -> BetaBinomialFit:
    """Return the beta-binomial of largest likelihood.

    Parameters
    ----------
    alive, grafted : sequence of int
        Cells alive and cells grafted, one element a flat; 0 <= alive <= grafted, grafted at least 1; equal
        lengths, at least one flat.
    groups : sequence, optional
        The group of each flat. Without it all flats are one group.

    Returns
    -------
    BetaBinomialFit
        mu: share in [0, 1], or such a share by group; rho: in [0, 1], 0.0 where the binomial fits best, None
        if every flat has one cell; log_likelihood: natural logarithm, binomial coefficients included.

    Raises
    ------
    ValueError
        If there is no flat, lengths differ or a count is impossible.

    Source
    ------
    Skellam (1948); Griffiths (1973); Smith (1983).
    """
    labels: Sequence[Hashable] = [None] * len(alive) if groups is None else groups
    by_group = _counts_by_group(alive, grafted, groups=labels)
    if not by_group:
        raise ValueError("alive must hold at least one flat, got none")
    counts = [count for of_group in by_group.values() for count in of_group]
    means, best_rho, log_likelihood = _fit(by_group)
    rho = None if all(total == 1 for _, total in counts) else best_rho
    log_likelihood += math.fsum(_log_choose(total, part) for part, total in counts)
    return BetaBinomialFit(means[None] if groups is None else means, rho, log_likelihood)


def _counts_by_group(
    alive: Sequence[int], grafted: Sequence[int], *, groups: Sequence[Hashable]
) -> dict[Hashable, _Counts]:
    check_lengths(alive=alive, grafted=grafted, groups=groups)
    by_group: dict[Hashable, _Counts] = {}
    for part, total, group in zip(alive, grafted, groups, strict=True):
        by_group.setdefault(group, []).append(checked_counts(part, total, names=("alive", "grafted")))
    return by_group


def _log_choose(n: int, r: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(r + 1) - math.lgamma(n - r + 1)


def _fit(by_group: dict[Hashable, _Counts]) -> tuple[dict[Hashable, float], float, float]:
    """Return means, rho and the log-likelihood without its coefficients.

    Groups at share 0 or 1 have likelihood 1 at any rho and stay out of the search.
    """
    means = {group: _share(counts) for group, counts in by_group.items()}
    varying = [group for group, mean in means.items() if 0.0 < mean < 1.0]
    if not varying:
        return means, 0.0, 0.0
    counts_of_varying = [by_group[group] for group in varying]
    if _lives_as_a_whole(counts_of_varying):
        rho, found = 1.0, [_share([(int(r > 0), 1) for r, _ in counts]) for counts in counts_of_varying]
        log_likelihood = sum(
            _log_of_wholes(counts, mean) for counts, mean in zip(counts_of_varying, found, strict=True)
        )
    else:
        found, rho, log_likelihood = _Curve.of(counts_of_varying).top()
    return means | dict(zip(varying, found, strict=True)), rho, log_likelihood


def _share(counts: _Counts) -> float:
    return sum(alive for alive, _ in counts) / sum(grafted for _, grafted in counts)


def _lives_as_a_whole(groups: list[_Counts]) -> bool:
    """Return whether every flat is wholly alive or wholly dead and some flat has cells to show it."""
    counts = [count for of_group in groups for count in of_group]
    return all(alive in (0, grafted) for alive, grafted in counts) and any(n > 1 for _, n in counts)


def _log_of_wholes(counts: _Counts, mean: float) -> float:
    return sum(math.log(mean if alive else 1.0 - mean) for alive, _ in counts)


@dataclass(frozen=True, slots=True, eq=False)
class _Tails:
    """How many flats of a group have more than k cells of one kind; an element for each (group, k)."""

    group: NDArray[np.intp]
    k: Floats
    times: Floats

    @classmethod
    def of(cls, groups: list[list[int]]) -> _Tails:
        import numpy as np

        tails = [np.bincount(cells)[::-1].cumsum()[::-1][1:] for cells in groups]
        lengths = [len(tail) for tail in tails]
        return cls(
            np.repeat(np.arange(len(groups)), lengths),
            np.concatenate([np.arange(length, dtype=float) for length in lengths]),
            np.concatenate(tails).astype(float),
        )

    def terms(self, mean: Floats, rho: float) -> Floats:
        """Return mean (1 - rho) + k rho, whose logarithms the log-likelihood adds up."""
        return mean[self.group] * (1.0 - rho) + self.k * rho

    def log_sum(self, mean: Floats, rho: float) -> float:
        import numpy as np

        return float(self.times @ np.log(self.terms(mean, rho)))

    def slope_in_rho(self, mean: Floats, rho: float) -> float:
        return float(self.times @ ((self.k - mean[self.group]) / self.terms(mean, rho)))

    def sum_of_powers(self, mean: Floats, rho: float, *, power: int) -> Floats:
        """Return by group the sum of times / terms ** power: slope (1) and curvature (2) in the mean."""
        import numpy as np

        sums = np.bincount(self.group, self.times / self.terms(mean, rho) ** power, minlength=len(mean))
        return sums.astype(np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """The log-likelihood, without coefficients, of groups with a share between 0 and 1."""

    alive: _Tails
    dead: _Tails
    grafted: _Tails
    shares: Floats

    @classmethod
    def of(cls, groups: list[_Counts]) -> _Curve:
        import numpy as np

        return cls(
            _Tails.of([[alive for alive, _ in counts] for counts in groups]),
            _Tails.of([[grafted - alive for alive, grafted in counts] for counts in groups]),
            _Tails.of([[grafted for _, grafted in counts] for counts in groups]),
            np.array([_share(counts) for counts in groups]),
        )

    def top(self) -> tuple[list[float], float, float]:
        """Return means, rho and height of the highest top; those of the binomial if none is higher."""
        best_rho, best_means = 0.0, self.shares
        best = self.height(best_means, best_rho) + _LEAST_GAIN
        for rho in self._tops():
            means = self.means(rho)
            height = self.height(means, rho)
            if height > best:
                best_rho, best_means, best = rho, means, height
        return best_means.tolist(), best_rho, self.height(best_means, best_rho)

    def height(self, mean: Floats, rho: float) -> float:
        return (
            self.alive.log_sum(mean, rho)
            + self.dead.log_sum(1.0 - mean, rho)
            - self.grafted.log_sum(mean * 0.0 + 1.0, rho)
        )

    def slope(self, rho: float) -> float:
        """Return the slope in rho along the best means (which themselves add nothing to it)."""
        mean = self.means(rho)
        return (
            self.alive.slope_in_rho(mean, rho)
            + self.dead.slope_in_rho(1.0 - mean, rho)
            - self.grafted.slope_in_rho(mean * 0.0 + 1.0, rho)
        )

    def means(self, rho: float) -> Floats:
        """Return for a rho below 1 the best mean of each group: Newton's method between brackets."""
        import numpy as np

        mean, low, high = self.shares, np.zeros_like(self.shares), np.ones_like(self.shares)
        for _ in range(_MOST_STEPS):
            slope, curvature = self._slope_and_curvature(mean, rho)
            low, high = np.where(slope > 0.0, mean, low), np.where(slope < 0.0, mean, high)
            stepped = mean + slope / curvature
            stepped = np.where((stepped >= low) & (stepped <= high), stepped, (low + high) / 2.0)
            if np.abs(stepped - mean).max() <= _MEAN_TOLERANCE:
                break
            mean = stepped
        return stepped

    def _slope_and_curvature(self, mean: Floats, rho: float) -> tuple[Floats, Floats]:
        """Return by group the slope in the mean and minus the second derivative, both over (1 - rho)."""
        slope = self.alive.sum_of_powers(mean, rho, power=1) - self.dead.sum_of_powers(
            1.0 - mean, rho, power=1
        )
        bend = self.alive.sum_of_powers(mean, rho, power=2) + self.dead.sum_of_powers(
            1.0 - mean, rho, power=2
        )
        return slope, bend * (1.0 - rho)

    def _tops(self) -> list[float]:
        """Return every rho at which the slope turns from rising to falling between points of the grid."""
        import numpy as np
        from scipy.optimize import brentq

        inner = 1.0 / (1.0 + np.exp(-np.linspace(-_GRID_END_LOGIT, _GRID_END_LOGIT, _GRID_POINTS)))
        grid = [0.0, *inner.tolist()]
        slopes = [self.slope(rho) for rho in grid]
        return [
            float(brentq(self.slope, grid[left], grid[left + 1], xtol=1e-15))
            for left in range(len(grid) - 1)
            if slopes[left] > 0.0 >= slopes[left + 1]
        ]
