"""Dispersion between flats and the range of a take."""

import json
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.intervals import wilson_interval
from nursery.calc.take import dispersion, take_interval

ROOT = Path(__file__).parents[2]

Flats = list[tuple[int, int, str, str]]  # alive, grafted, group, flat


@st.composite
def seasons(draw: st.DrawFn) -> Flats:
    """Flats of up to three groups; a flat may hold several groups."""
    names = st.tuples(st.sampled_from("ABC"), st.sampled_from("123456"))
    return [
        (draw(st.integers(0, grafted)), grafted, *name)
        for name in draw(st.lists(names, unique=True, max_size=12))
        for grafted in [draw(st.integers(1, 72))]
    ]


def split(flat: tuple[int, int, str, str], part: float, alive_part: float) -> Flats:
    """Return a flat as two runs, whole cells alive and dead dealt to both; as one if a run were empty."""
    alive, grafted, group, name = flat
    first_alive = round(alive * alive_part)
    first_dead = round((grafted - alive) * part)
    runs = [
        (first_alive, first_alive + first_dead),
        (alive - first_alive, grafted - first_alive - first_dead),
    ]
    return [(one, all_, group, name) for one, all_ in runs if all_]


def dispersion_of(flats: Flats) -> tuple[float, int]:
    columns = list(zip(*flats, strict=True)) or [(), (), (), ()]
    return dispersion(*columns)


def test_dispersion_agrees_with_crowder(crowder):
    # Source: Crowder (1978), table 3; Pearson X2 by statsmodels.
    phi, df = dispersion(*crowder.plates)
    assert df == 17
    assert phi == pytest.approx(1.861832, abs=5e-7)
    assert phi * df == pytest.approx(31.65114, abs=5e-6)


def test_intervals_agree_with_crowder(crowder):
    phi, df = dispersion(*crowder.plates)
    for group, interval in crowder.expected["recommended_method"]["wilson_neff_t"].items():
        counts = crowder.expected["groups"][group]
        assert take_interval(counts["r"], counts["n"], phi=phi, df=df) == pytest.approx(interval, abs=6e-6)


def test_one_group_of_crowder_has_its_published_part(crowder):
    # Source: X2 by group, crowder_expected.json.
    for group, counts in crowder.expected["groups"].items():
        rows = [row for row in zip(*crowder.plates, strict=True) if row[2] == group]
        phi, df = dispersion(*zip(*rows, strict=True))
        assert df == counts["plates"] - 1
        assert phi * df == pytest.approx(counts["X2"], abs=6e-6)


def test_the_worked_example_of_the_module_holds():
    phi, df = dispersion([40, 45, 30, 38], [50, 50, 50, 50], ["a", "a", "b", "b"])
    assert (phi, df) == (pytest.approx(2.4510, abs=5e-5), 2)
    assert take_interval(85, 100, phi=phi, df=df) == pytest.approx((0.51, 0.97), abs=0.005)


@given(seasons())
def test_dispersion_is_pearson_s_by_exact_fractions(flats):
    x2 = Fraction(0)
    for group in {flat[2] for flat in flats}:
        counts = [flat[:2] for flat in flats if flat[2] == group]
        share = Fraction(sum(alive for alive, _ in counts), sum(grafted for _, grafted in counts))
        if 0 < share < 1:
            x2 += sum((alive - n * share) ** 2 / (n * share * (1 - share)) for alive, n in counts)
    df = len(flats) - len({flat[2] for flat in flats})
    expected = (max(1.0, float(x2 / df)), df) if df else (1.0, 0)
    assert dispersion_of(flats) == pytest.approx(expected, rel=1e-12)


@given(seasons(), st.data())
def test_splitting_flats_into_runs_changes_no_interval(flats, data):
    parts = st.floats(0, 1)
    runs = [run for flat in flats for run in split(flat, data.draw(parts), data.draw(parts))]
    phi, df = dispersion_of(data.draw(st.permutations(runs)))
    assert (phi, df) == dispersion_of(flats)
    for group in {flat[2] for flat in flats}:
        totals = [
            tuple(sum(row[column] for row in rows if row[2] == group) for column in (0, 1))
            for rows in (flats, runs)
        ]
        before, after = (take_interval(*total, phi=phi, df=df) for total in totals)
        assert before == after


def test_runs_without_their_flats_would_count_as_flats():
    runs = [10, 20, 25, 30], [30, 30, 30, 30], ["A"] * 4
    assert dispersion(*runs)[1] == 3
    assert dispersion(*runs, ["f", "f", "g", "g"]) == (
        pytest.approx(dispersion([30, 55], [60, 60], "AA")[0]),
        1,
    )


def test_one_flat_in_two_groups_is_a_unit_of_each():
    assert dispersion([5, 6, 7, 8], [9, 9, 9, 9], "AABB", ["f", "g", "f", "g"])[1] == 2


def test_groups_wholly_alive_or_dead_keep_their_degrees_of_freedom():
    phi, df = dispersion([2, 8, 9, 9, 0, 0], [10, 10, 9, 9, 5, 5], "AABBCC")
    assert df == 3
    assert phi == pytest.approx(7.2 / 3)  # by hand: 2 (3^2 / 2.5) over 3
    assert dispersion([9, 9], [9, 9], "AA") == (1.0, 1)


def test_flats_more_alike_than_chance_give_one():
    assert dispersion([5, 5, 5], [10, 10, 10], "AAA") == (1.0, 2)


def test_one_flat_a_group_leaves_nothing_to_tell():
    assert dispersion([5, 9], [10, 10], "AB") == (1.0, 0)
    assert dispersion([], [], []) == (1.0, 0)
    assert take_interval(5, 10, phi=1.0, df=0) is None


@pytest.mark.parametrize("df", [1, 2, 17, 10**6])
def test_interval_is_exact_at_none_and_all(df):
    assert take_interval(0, 72, phi=1.7, df=df)[0] == 0.0
    assert take_interval(72, 72, phi=1.7, df=df)[1] == 1.0


def test_interval_becomes_wilson_s_as_flats_grow_many():
    assert take_interval(60, 72, phi=1.0, df=10**7) == pytest.approx(wilson_interval(60, 72), abs=1e-6)


@pytest.mark.parametrize(("df", "quantile"), [(1, 12.7062), (4, 2.7764), (17, 2.1098), (30, 2.0423)])
def test_interval_uses_the_quantile_of_student_s_t(df, quantile):
    # Source: tables of Student's t, two-sided 5 %, from memory. The ends solve (p-q)^2 = t^2 q(1-q) phi/n.
    low, _ = take_interval(60, 80, phi=2.0, df=df)
    assert (0.75 - low) / (low * (1 - low) * 2.0 / 80) ** 0.5 == pytest.approx(quantile, abs=5e-5)


def test_more_variation_and_fewer_flats_give_wider_ranges():
    widths = [
        high - low
        for phi, df in [(1.0, 20), (2.0, 20), (2.0, 5)]
        for low, high in [take_interval(60, 72, phi=phi, df=df)]
    ]
    assert widths == sorted(widths) and len(set(widths)) == 3


@pytest.mark.parametrize(
    ("alive", "grafted", "groups", "flats", "message"),
    [
        ([1], [0], "A", None, r"grafted must be at least 1, got 0"),
        ([3], [2], "A", None, r"alive must be between 0 and grafted \(2\), got 3"),
        ([-1], [2], "A", None, r"alive must be between 0"),
        ([1.5], [2], "A", None, r"alive must be a whole number, got 1.5"),
        ([True], [2], "A", None, r"alive must be a whole number"),
        ([1], [2, 3], "A", None, r"grafted must be as long as alive \(1\), got 2"),
        ([1], [2], "AB", None, r"groups must be as long as alive"),
        ([1], [2], "A", ["f", "g"], r"flats must be as long as alive"),
    ],
)
def test_impossible_columns_are_named(alive, grafted, groups, flats, message):
    with pytest.raises(ValueError, match=message):
        dispersion(alive, grafted, groups, flats)


@pytest.mark.parametrize(
    ("changed", "name"),
    [
        ({"alive": 73}, "alive"),
        ({"grafted": 0}, "grafted"),
        ({"phi": 0.9}, "phi"),
        ({"phi": float("nan")}, "phi"),
        ({"phi": float("inf")}, "phi"),
        ({"df": -1}, "df"),
        ({"df": 1.5}, "df"),
        ({"level": 1}, "level"),
        ({"level": 95, "df": 0}, "level"),
    ],
)
def test_impossible_arguments_of_a_range_are_named(changed, name):
    arguments = {"alive": 60, "grafted": 72, "phi": 1.5, "df": 4} | changed
    alive, grafted = arguments.pop("alive"), arguments.pop("grafted")
    with pytest.raises(ValueError, match=rf"^{name} must be"):
        take_interval(alive, grafted, **arguments)


def test_a_process_without_ranges_loads_neither_numpy_nor_scipy():
    script = (
        "import json, sys; from nursery.calc import codes, days, fold, intervals, take;"
        "take.dispersion([1, 2], [3, 4], 'AA'); intervals.wilson_interval(1, 2);"
        "print(json.dumps(sorted(name for name in sys.modules if name in ('numpy', 'scipy', 'pandas'))))"
    )
    run = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True)
    assert json.loads(run.stdout) == []
