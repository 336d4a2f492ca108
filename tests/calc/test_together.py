"""Which plants to move so that patchy flats become few full ones."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.together import plan_together

PLACES = 6


def flats_of(counts):
    """Return living and free places of flats of six that hold so many plants each."""
    living = {number: list(range(1, count + 1)) for number, count in enumerate(counts)}
    return living, {number: list(range(count + 1, PLACES + 1)) for number, count in enumerate(counts)}


def test_worked_example_of_the_module():
    # Flats of 4 with 3, 2 and 2: the last of those with 2 by the order of names is emptied first.
    living = {1: [1, 2, 3], 2: [1, 2], 3: [3, 4]}
    free = {1: [4], 2: [3, 4], 3: [1, 2]}
    moves = [(m.flat, m.place, gap.flat, gap.place) for m, gap in plan_together(living, free)]
    assert moves == [(2, 1, 1, 4), (2, 2, 3, 1)]


def test_full_flats_stay_as_they_are():
    assert plan_together(*flats_of([6, 6])) == []


def test_half_of_a_flat_does_not_move():
    # 4 and 4 of 6: four plants, two gaps. Moving two would leave both trays in use.
    assert plan_together(*flats_of([4, 4])) == []


def test_empty_flats_take_in_nothing():
    assert plan_together(*flats_of([2, 0])) == []


def fewest_flats(counts):
    """The most flats that can be emptied, and the fewest plants moved for that, by trying every choice."""
    holding = [count for count in counts if count]
    best = (0, 0)
    for number in range(1, len(holding)):
        for chosen in combinations(range(len(holding)), number):
            moving = sum(holding[index] for index in chosen)
            room = sum(PLACES - holding[i] for i in range(len(holding)) if i not in chosen)
            if moving <= room:
                best = max(best, (number, -moving))
    return best


@given(st.lists(st.integers(0, PLACES), min_size=1, max_size=6))
def test_plan_is_the_best_of_all_choices(counts):
    living, free = flats_of(counts)
    plan = plan_together(living, free)
    emptied = {plant.flat for plant, _gap in plan}
    assert (len(emptied), -len(plan)) == fewest_flats(counts)
    assert sorted((p.flat, p.place) for p, _ in plan) == [(f, x) for f in sorted(emptied) for x in living[f]]
    gaps = [(gap.flat, gap.place) for _, gap in plan]
    assert len(set(gaps)) == len(gaps)
    assert all(place in free[flat] and flat not in emptied for flat, place in gaps)


def test_a_place_cannot_be_both():
    with pytest.raises(ValueError, match="flat 1"):
        plan_together({1: [1, 2]}, {1: [2]})


def test_both_name_the_same_flats():
    with pytest.raises(ValueError, match="same flats"):
        plan_together({1: [1]}, {2: [2]})
