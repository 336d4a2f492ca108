"""The take of a group of flats, with a range that knows that flats differ.

Cells of one flat share a bench, a blade, a place in the chamber. They live and die together, so 200 cells
in 4 flats say less than 200 cells each in a flat of its own. How much less is measured: within each group
(a pairing, a grafter) the counts of the flats are compared with what chance alone would give,

    X2 = sum over flats of (alive - n p)^2 / (n p (1 - p)),    p the share of the flat's group,

and phi = X2 / (flats - groups), pooled over all groups compared and never below 1, says how many times
more the flats vary than chance. A range then treats n cells as n / phi cells in Wilson's interval, with the
quantile of Student's t on flats - groups degrees of freedom, as phi itself is estimated. With no degree of
freedom, one flat a group, nothing can be told and no range is given.

The unit is the flat. Several runs of one flat in one group are summed first, so dividing a flat among
grafters changes no range.

A group in which everything lives, or nothing, adds nothing to X2 (its p (1 - p) is 0) but keeps its flats
among the degrees of freedom: they are flats that were seen not to vary.

Worked example. Two flats of 50 with 40 and 45 alive, two of 50 with 30 and 38: p = 0.85 and 0.68,
X2 = 2 x 2.5^2 / 6.375 + 2 x 4^2 / 10.88 = 1.9608 + 2.9412 = 4.9020 on 4 - 2 = 2 degrees of freedom,
phi = 2.4510. For the first group n = 100 / 2.4510 = 40.8 cells in effect, t = 4.3027, range 0.51 to 0.97.

The same phi follows from four sums a group, so that a database can do the adding: with y alive of n in each
flat, Y and N over the group and p = Y / N,

    X2 = (sum of y^2 / n - Y^2 / N) / (p (1 - p)).

For the two groups above: (40^2 / 50 + 45^2 / 50 - 85^2 / 100) / (0.85 x 0.15) = 0.25 / 0.1275 = 1.9608 and
(30^2 / 50 + 38^2 / 50 - 68^2 / 100) / (0.68 x 0.32) = 0.64 / 0.2176 = 2.9412, as before.

Sources: P. McCullagh & J. A. Nelder (1989), Generalized Linear Models, 2nd ed., section 4.5 (dispersion by
Pearson's X2); E. B. Wilson (1927), J Am Stat Assoc 22, 209-212. Checked with the plates of M. J. Crowder
(1978), Appl Statist 27, 34-37, table 3: phi = 1.8618 on 17 degrees of freedom.
"""

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

from nursery.calc.betabinomial import BetaBinomialFit, fit_beta_binomial
from nursery.calc.intervals import (
    Interval,
    check_lengths,
    checked_counts,
    tail,
    whole,
    wilson_from_share,
)

__all__ = [
    "BetaBinomialFit",
    "GroupSums",
    "dispersion",
    "dispersion_of_sums",
    "fit_beta_binomial",
    "take_interval",
]

_Counts = list[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class GroupSums:
    """The flats of one group, added up; ``squares`` is the sum over flats of alive^2 / grafted."""

    flats: int
    alive: int
    grafted: int
    squares: float


def dispersion(
    alive: Sequence[int],
    grafted: Sequence[int],
    groups: Sequence[Hashable],
    flats: Sequence[Hashable] | None = None,
) -> tuple[float, int]:
    """Return how many times more than chance flats of one group vary, pooled over the groups.

    Parameters
    ----------
    alive, grafted : sequence of int
        Cells alive and cells grafted, one element a flat (or a run, with ``flats``); 0 <= alive <= grafted,
        grafted at least 1; equal lengths.
    groups : sequence
        The group of each element: whatever is compared, such as the pairing.
    flats : sequence, optional
        The flat of each element; elements of one flat in one group are summed. Without it each element is
        a flat.

    Returns
    -------
    (phi, df) : (float, int)
        phi >= 1, dimensionless; df = flats - groups. (1.0, 0) if no group has two flats.

    Raises
    ------
    ValueError
        If lengths differ or a count is impossible.

    Source
    ------
    McCullagh & Nelder (1989), section 4.5.
    """
    by_group = _flats_by_group(alive, grafted, groups=groups, flats=flats)
    df = sum(len(counts) - 1 for counts in by_group)
    if df == 0:
        return 1.0, 0
    # fsum rounds once: the order of the flats does not matter, not even in the last digit.
    x2 = math.fsum(term for counts in by_group for term in _pearson_terms(counts))
    return max(1.0, x2 / df), df


def dispersion_of_sums(groups: Iterable[GroupSums]) -> tuple[float, int]:
    """Return what ``dispersion`` returns, from the sums of each group.

    Parameters
    ----------
    groups : iterable of GroupSums
        flats at least 1, 0 <= alive <= grafted, grafted at least 1; squares between alive^2 / grafted and
        alive (the extremes: all flats alike; each flat all alive or all dead), but for rounding.

    Returns
    -------
    (phi, df) : (float, int)
        phi >= 1, dimensionless; df = flats - groups. (1.0, 0) if no group has two flats.

    Raises
    ------
    ValueError
        If a sum is impossible.

    Source
    ------
    McCullagh & Nelder (1989), section 4.5; the sum of squares multiplied out (this module's text).
    """
    known = [_checked_sums(group) for group in groups]
    df = sum(group.flats - 1 for group in known)
    if df == 0:
        return 1.0, 0
    return max(1.0, math.fsum(_pearson_of_sums(group) for group in known) / df), df


def take_interval(alive: int, grafted: int, *, phi: float, df: int, level: float = 0.95) -> Interval | None:
    """Return the range of a take when flats vary phi times more than chance.

    Parameters
    ----------
    alive, grafted : int
        Cells alive and cells grafted of the group, over all its flats; 0 <= alive <= grafted, at least 1
        grafted.
    phi : float
        Dispersion, dimensionless, at least 1.
    df : int
        Degrees of freedom of phi; at least 0.
    level : float
        Confidence level, dimensionless, 0 < level < 1.

    Returns
    -------
    (low, high) or None
        Shares in [0, 1]; low is exactly 0.0 if none is alive, high exactly 1.0 if all are. None if df is 0:
        it cannot be told.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Source
    ------
    Wilson (1927) on grafted / phi units with the t quantile on df; this module's text.
    """
    alive, grafted = checked_counts(alive, grafted, names=("alive", "grafted"))
    if not 1.0 <= phi < math.inf:
        raise ValueError(f"phi must be at least 1 and finite, got {phi}")
    df = whole(df, name="df")
    if df < 0:
        raise ValueError(f"df must be at least 0, got {df}")
    beyond = tail(level)
    if df == 0:
        return None
    from scipy.special import stdtrit

    return wilson_from_share(alive / grafted, grafted / phi, -float(stdtrit(df, beyond)))


def _flats_by_group(
    alive: Sequence[int],
    grafted: Sequence[int],
    *,
    groups: Sequence[Hashable],
    flats: Sequence[Hashable] | None,
) -> list[_Counts]:
    """Return the (alive, grafted) of each flat, group by group."""
    if flats is None:
        flats = range(len(alive))
    check_lengths(alive=alive, grafted=grafted, groups=groups, flats=flats)
    sums: dict[Hashable, dict[Hashable, tuple[int, int]]] = {}
    for one_alive, one_grafted, group, flat in zip(alive, grafted, groups, flats, strict=True):
        part, total = checked_counts(one_alive, one_grafted, names=("alive", "grafted"))
        of_group = sums.setdefault(group, {})
        before_part, before_total = of_group.get(flat, (0, 0))
        of_group[flat] = before_part + part, before_total + total
    return [list(of_group.values()) for of_group in sums.values()]


def _pearson_terms(counts: _Counts) -> Iterable[float]:
    """Yield each flat's part of X2, from whole numbers: (r N - n R)^2 / (n R (N - R))."""
    all_alive = sum(alive for alive, _ in counts)
    total = sum(grafted for _, grafted in counts)
    if 0 < all_alive < total:
        for alive, grafted in counts:
            yield (alive * total - grafted * all_alive) ** 2 / (grafted * all_alive * (total - all_alive))


def _checked_sums(group: GroupSums) -> GroupSums:
    alive, grafted = checked_counts(group.alive, group.grafted, names=("alive", "grafted"))
    if group.flats < 1:
        raise ValueError(f"flats must be at least 1, got {group.flats}")
    slack = 1e-9 * max(1, alive)
    if not alive**2 / grafted - slack <= group.squares <= alive + slack:
        raise ValueError(f"squares must lie between alive^2 / grafted and alive, got {group.squares}")
    return group


def _pearson_of_sums(group: GroupSums) -> float:
    """Return the part of X2 of one group; a difference below zero is rounding of equal flats."""
    share = group.alive / group.grafted
    if group.flats == 1 or not 0 < group.alive < group.grafted:
        return 0.0
    return max(0.0, group.squares - group.alive * share) / (share * (1 - share))
