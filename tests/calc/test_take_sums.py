"""The dispersion from sums that a database made, against the dispersion from the flats themselves."""

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.take import GroupSums, dispersion, dispersion_of_sums

DATA = Path(__file__).parents[1] / "data"
FLATS = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
GROUPS = st.lists(st.lists(FLATS, min_size=1, max_size=8), max_size=4)


def sums_of(counts):
    return GroupSums(
        len(counts), sum(y for y, _ in counts), sum(n for _, n in counts), sum(y * y / n for y, n in counts)
    )


@given(GROUPS)
def test_sums_give_what_the_flats_give(groups):
    flats = [(y, n, number) for number, counts in enumerate(groups) for y, n in counts]
    alive, grafted, names = zip(*flats, strict=True) if flats else ((), (), ())
    phi, df = dispersion(alive, grafted, names)
    assert dispersion_of_sums(map(sums_of, groups)) == (pytest.approx(phi, rel=1e-8), df)


def test_crowders_plates_by_their_sums():
    # Source: Crowder (1978), table 3; Pearson X2 by statsmodels (crowder_expected.json): 1.861832 on 17.
    groups = json.loads((DATA / "crowder_expected.json").read_text())["groups"]
    lines = [line for line in (DATA / "crowder_seeds.csv").read_text().splitlines() if line[0] != "#"]
    plates = {}
    for row in csv.DictReader(lines):
        counts = int(row["r"]), int(row["n"])
        plates.setdefault((row["x1_seed73"], row["x2_cucumber"]), []).append(counts)
    assert len(plates) == len(groups) == 4
    assert dispersion_of_sums(map(sums_of, plates.values())) == (pytest.approx(1.861832, abs=5e-7), 17)


def test_the_worked_example_of_the_module_holds():
    one, other = (
        GroupSums(2, 85, 100, 40**2 / 50 + 45**2 / 50),
        GroupSums(2, 68, 100, 30**2 / 50 + 38**2 / 50),
    )
    # Each has one degree of freedom: alone, its part of X2 is phi.
    assert dispersion_of_sums([one]) == (pytest.approx(1.9608, abs=5e-5), 1)
    assert dispersion_of_sums([other]) == (pytest.approx(2.9412, abs=5e-5), 1)
    assert dispersion_of_sums([one, other]) == (pytest.approx(2.4510, abs=5e-5), 2)


def test_ten_million_cells_lose_no_digit_that_is_shown():
    counts = [(60 + number % 13, 72) for number in range(140_000)]
    exact = dispersion(*zip(*counts, strict=True), groups=["a"] * len(counts))
    assert dispersion_of_sums([sums_of(counts)]) == (pytest.approx(exact[0], rel=1e-8), exact[1])


@pytest.mark.parametrize("groups", [[], [GroupSums(1, 3, 7, 9 / 7)], [GroupSums(1, 0, 7, 0.0)] * 3])
def test_one_flat_a_group_tells_nothing(groups):
    assert dispersion_of_sums(groups) == (1.0, 0)


def test_flats_that_are_all_alike_are_no_wider_than_chance():
    # 0.1 + 0.2 is not 0.3: rounding may make the difference of squares a hair below zero.
    assert dispersion_of_sums([sums_of([(7, 70)] * 3)]) == (1.0, 2)


@pytest.mark.parametrize(
    ("group", "words"),
    [
        (GroupSums(2, 8, 7, 8.0), "alive"),
        (GroupSums(2, 0, 0, 0.0), "grafted"),
        (GroupSums(0, 3, 7, 2.0), "flats must be at least 1"),
        (GroupSums(2, 3, 7, 1.0), "squares must lie between"),
        (GroupSums(2, 3, 7, 3.1), "squares must lie between"),
    ],
)
def test_impossible_sums_are_named(group, words):
    with pytest.raises(ValueError, match=words):
        dispersion_of_sums([group])
