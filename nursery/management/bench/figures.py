"""The arithmetic of the benchmarks: what is measured in turn, and what is said of it.

Ours and the floor take turns within each repeat, so that what else the machine does falls on both. A figure
is the median of a repeat; the ratio is the median of the ratios of the repeats, with the lowest and the
highest.
"""

import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

MET, NOT_MET, NO_GOAL, NOT_BUILT = "met", "not met", "no goal", "not built yet"


@dataclass(frozen=True, slots=True)
class Goal:
    """At most ``limit`` times the floor, or at least; without a floor, at most ``limit``."""

    limit: float
    is_at_least: bool = False

    def is_met(self, ratio: float) -> bool:
        return ratio >= self.limit if self.is_at_least else ratio <= self.limit

    def __str__(self) -> str:
        return f"{'>=' if self.is_at_least else '<='} {self.limit:g}"


@dataclass(frozen=True, slots=True)
class Measured:
    """The figure of each repeat."""

    unit: str
    repeats: tuple[float, ...]

    @property
    def median(self) -> float:
        return statistics.median(self.repeats)

    def as_data(self) -> dict[str, Any]:
        low, high = min(self.repeats), max(self.repeats)
        return {
            "unit": self.unit,
            "median": _short(self.median),
            "low": _short(low),
            "high": _short(high),
            "repeats": len(self.repeats),
        }


@dataclass(slots=True)
class Row:
    """One line of the table of goals: what was measured, against what, and whether the goal is met."""

    name: str
    what: str
    ours: Measured | None = None
    floor: Measured | None = None
    goal: Goal | None = None
    note: str = ""
    more: dict[str, Any] = field(default_factory=dict)
    profile: dict[str, Any] | None = None

    @property
    def ratios(self) -> list[float]:
        if self.ours is None or self.floor is None:
            return []
        return [a / b for a, b in zip(self.ours.repeats, self.floor.repeats, strict=True)]

    @property
    def ratio(self) -> float | None:
        return statistics.median(self.ratios) if self.ratios else None

    @property
    def status(self) -> str:
        if self.ours is None:
            return NOT_BUILT
        if self.goal is None:
            return NO_GOAL
        reached = self.ours.median if self.ratio is None else self.ratio
        return MET if self.goal.is_met(reached) else NOT_MET

    def as_data(self) -> dict[str, Any]:
        data: dict[str, Any] = {"name": self.name, "what": self.what, "status": self.status}
        if self.ours:
            data["ours"] = self.ours.as_data()
        if self.floor:
            data["floor"] = self.floor.as_data()
        if self.ratio is not None:
            data["ratio"] = _short(self.ratio)
            data["ratio_low"], data["ratio_high"] = _short(min(self.ratios)), _short(max(self.ratios))
        if self.goal:
            data["goal"] = str(self.goal)
        for name in ("note", "more", "profile"):
            if getattr(self, name):
                data[name] = getattr(self, name)
        return data

    def __str__(self) -> str:
        ratio = "" if self.ratio is None else f" ratio {_short(self.ratio)}"
        goal = f" (goal {self.goal})" if self.goal else ""
        ours = f" {_short(self.ours.median)} {self.ours.unit}" if self.ours else ""
        return f"{self.name}:{ours}{ratio}{goal}: {self.status}"


def _short(value: float) -> float:
    """Return a figure to four digits: more would say more than was measured."""
    return float(f"{value:.4g}")


def percentile(values: Sequence[float], share: float) -> float:
    """Return the smallest value that at least ``share`` of the values do not exceed (nearest rank)."""
    if not values or not 0 < share <= 1:
        raise ValueError(
            f"a share of (0, 1] of at least one value is asked for, got {share} of {len(values)}"
        )
    ordered = sorted(values)
    return ordered[max(0, -int(-share * len(ordered) // 1) - 1)]


def in_turn(
    ours: Callable[[], float], floor: Callable[[], float], *, times: int, repeats: int
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Measure two things in turn; return the median of ``times`` measurements in each repeat.

    Each callable does its thing once and returns what it took.
    """
    ours(), floor()  # what is loaded and compiled at the first time is not what is asked
    found: tuple[list[float], list[float]] = ([], [])
    for _repeat in range(repeats):
        pairs = [(ours(), floor()) for _time in range(times)]
        for side, values in zip(found, zip(*pairs, strict=True), strict=True):
            side.append(statistics.median(values))
    return tuple(found[0]), tuple(found[1])


def milliseconds(act: Callable[[], object]) -> float:
    """Return how long one call took."""
    began = time.perf_counter()
    act()
    return (time.perf_counter() - began) * 1000
