"""Ranges for a share and for the difference of two shares.

A share such as 68 plants alive of 72 would come out a little differently on the next flat. Wilson's
interval holds every true share that would make such a count unsurprising. Unlike "plus or minus two
standard errors" it stays inside 0 to 1 and says something sensible when all or none are alive.

With p the share, n the number tried and z the normal quantile (1.96 for 95 %), its ends are the two roots
q of (p - q)^2 = z^2 q (1 - q) / n. The lower root is written here as

    low = p^2 / (p + z^2/2n + z sqrt(p(1-p)/n + z^2/4n^2))

which is the usual formula without its subtraction, so that 0 of n gives exactly 0; the upper root is one
minus the lower root of the dead, so that n of n gives exactly 1.

Worked example. 81 of 263: p = 0.307985, z = 1.959964, z^2/2n = 0.0073032; the root is
1.959964 x sqrt(0.0008104 + 0.0000139) = 0.0562706; low = 0.0948546 / 0.3715585 = 0.255289. The high end by
the same way from 182 of 263 is 0.366210.

The difference of two shares takes for each of them the distance from the share to the end of its own
interval that lies on the side in question, and adds the two as the sides of a right angle.

Sources: E. B. Wilson (1927), J Am Stat Assoc 22, 209-212; L. D. Brown, T. T. Cai & A. DasGupta (2001),
Stat Sci 16, 101-133; R. G. Newcombe (1998), Stat Med 17, 857-872 (one share, method 3) and 873-890
(difference, method 10). No continuity correction.
"""

import math
import operator
from collections.abc import Sized
from statistics import NormalDist

Interval = tuple[float, float]


def wilson_interval(successes: int, trials: int, *, level: float = 0.95) -> Interval:
    """Return the Wilson score interval of a share.

    Parameters
    ----------
    successes : int
        Units that succeeded; 0 <= successes <= trials.
    trials : int
        Units tried; at least 1.
    level : float
        Confidence level, dimensionless, 0 < level < 1.

    Returns
    -------
    (low, high) : tuple of float
        Shares in [0, 1]; low is exactly 0.0 at no success, high exactly 1.0 at no failure.

    Raises
    ------
    ValueError
        If an argument is outside its range or a count is not a whole number.

    Source
    ------
    Wilson (1927); Newcombe (1998), Stat Med 17, 857, method 3.
    """
    successes, trials = checked_counts(successes, trials, names=("successes", "trials"))
    z = -NormalDist().inv_cdf(tail(level))
    return _wilson_low(successes / trials, trials, z), 1.0 - _wilson_low(
        (trials - successes) / trials, trials, z
    )


def wilson_from_share(share: float, n: float, quantile: float) -> Interval:
    """Return the Wilson interval of a share for an effective number of units and a given quantile.

    Parameters
    ----------
    share : float
        0 <= share <= 1.
    n : float
        Effective number of units, not necessarily whole; > 0.
    quantile : float
        Upper quantile of the reference distribution (normal or t), in standard errors; > 0.

    Returns
    -------
    (low, high) : tuple of float
        Shares in [0, 1]; low is exactly 0.0 at share 0, high exactly 1.0 at share 1.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Source
    ------
    Wilson (1927), solved for z = quantile.
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"share must be between 0 and 1, got {share}")
    for name, value in (("n", n), ("quantile", quantile)):
        if not 0.0 < value < math.inf:
            raise ValueError(f"{name} must be above 0 and finite, got {value}")
    return _wilson_low(share, n, quantile), 1.0 - _wilson_low(1.0 - share, n, quantile)


def newcombe_difference(x1: int, n1: int, x2: int, n2: int, *, level: float = 0.95) -> Interval:
    """Return Newcombe's interval of the difference x1/n1 - x2/n2 of two independent shares.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Units that succeeded and units tried, first and second; 0 <= x <= n, n at least 1.
    level : float
        Confidence level, dimensionless, 0 < level < 1.

    Returns
    -------
    (low, high) : tuple of float
        Differences of shares in [-1, 1].

    Raises
    ------
    ValueError
        If an argument is outside its range or a count is not a whole number.

    Source
    ------
    Newcombe (1998), Stat Med 17, 873, method 10.
    """
    x1, n1 = checked_counts(x1, n1, names=("x1", "n1"))
    x2, n2 = checked_counts(x2, n2, names=("x2", "n2"))
    p1, p2 = x1 / n1, x2 / n2
    low1, high1 = wilson_interval(x1, n1, level=level)
    low2, high2 = wilson_interval(x2, n2, level=level)
    difference = p1 - p2
    return difference - math.hypot(p1 - low1, high2 - p2), difference + math.hypot(high1 - p1, p2 - low2)


def tail(level: float) -> float:
    """Return the probability beyond each end of a two-sided interval; ValueError unless 0 < level < 1."""
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be above 0 and below 1, got {level}")
    return (1.0 - level) / 2.0


def whole(value: object, *, name: str) -> int:
    """Return a whole number as int, of whatever type; ValueError for a fraction, a truth value or a text."""
    try:
        if not isinstance(value, bool | float):
            return operator.index(value)  # type: ignore[arg-type]
        if isinstance(value, float) and value.is_integer():
            return int(value)
    except TypeError:
        pass
    raise ValueError(f"{name} must be a whole number, got {value!r}")


def checked_counts(part: object, total: object, *, names: tuple[str, str]) -> tuple[int, int]:
    """Return two counts as int; ValueError, naming the one to blame, unless 0 <= part <= total >= 1."""
    part_name, total_name = names
    total = whole(total, name=total_name)
    if total < 1:
        raise ValueError(f"{total_name} must be at least 1, got {total}")
    part = whole(part, name=part_name)
    if not 0 <= part <= total:
        raise ValueError(f"{part_name} must be between 0 and {total_name} ({total}), got {part}")
    return part, total


def check_lengths(**columns: Sized) -> None:
    """Raise ValueError, naming the first that differs from the first of all, unless all are equally long."""
    (first, expected), *others = ((name, len(column)) for name, column in columns.items())
    for name, length in others:
        if length != expected:
            raise ValueError(f"{name} must be as long as {first} ({expected}), got {length}")


def _wilson_low(share: float, n: float, z: float) -> float:
    middle = z * z / (2.0 * n)
    spread = z * math.sqrt(share * (1.0 - share) / n + z * z / (4.0 * n * n))
    return share * share / (share + middle + spread)
