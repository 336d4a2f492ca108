"""Finding a flat by which of its places are empty."""

import pytest

from nursery.calc.pattern import Fit, fit, ranked, tied_first

TAPPED = [3, 8, 20]


def test_the_worked_example():
    # Counted out by hand from the module's text; no outside source.
    p, q = fit(TAPPED, [3, 8, 20, 41]), fit(TAPPED, [3, 8])
    dead = fit(TAPPED, range(1, 73))
    assert (p, q, dead) == (Fit(3, 3, 1), Fit(2, 3, 0), Fit(3, 3, 69))
    assert (p.differing, q.differing, dead.differing) == (1, 1, 69)
    assert [key for key, _fit in ranked({"dead": dead, "q": q, "p": p})] == ["p", "q", "dead"]


def test_places_that_the_layout_leaves_out_say_nothing():
    assert fit([1, 2, 3], [1, 4], unused=[2, 4]) == Fit(1, 2, 0)


def test_a_place_counts_once():
    assert fit([5, 5], [5, 5, 6]) == Fit(1, 1, 1)


def test_nothing_tapped_ranks_the_flat_with_fewest_empty_first():
    assert [key for key, _ in ranked({"a": fit([], [1, 2]), "b": fit([], [])})] == ["b", "a"]


def test_ties_are_counted_and_keep_their_order():
    ranks = ranked({"a": Fit(2, 3, 1), "b": Fit(2, 3, 1), "c": Fit(3, 3, 2)})
    assert [key for key, _ in ranks] == ["c", "a", "b"]
    assert (tied_first(ranks), tied_first(ranks[1:]), tied_first([])) == (1, 2, 0)


@pytest.mark.parametrize("places", [[0], [-3, 1]])
def test_places_begin_at_1(places):
    with pytest.raises(ValueError, match="at least 1"):
        fit(places, [])
    with pytest.raises(ValueError, match="at least 1"):
        fit([], places)
