"""Stays in places that are moved themselves: counted out by hand, and moment by moment by chance."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nursery.calc.stays import Arrival, chain_at, stays

HALL, TROLLEY, CHAMBER, BAY = 1, 2, 3, 4


def hour(number):
    return datetime(2026, 3, 2, tzinfo=UTC) + timedelta(hours=number)


def told(found):
    """Stays as (from hour, up to hour, chain)."""

    def number(moment):
        return None if moment is None else (moment - hour(0)).total_seconds() / 3600

    return [(number(stay.since), number(stay.until), stay.chain) for stay in found]


def test_a_trolley_that_is_pushed_on_takes_the_flat_along():
    # The example of the module's docstring.
    arrivals = [Arrival(hour(9), TROLLEY), Arrival(hour(12), BAY)]
    settlings = {TROLLEY: [(hour(0), HALL), (hour(10), CHAMBER)]}
    found = stays(arrivals, settlings)
    assert told(found) == [(9, 10, (TROLLEY, HALL)), (10, 12, (TROLLEY, CHAMBER)), (12, None, (BAY,))]
    assert [(stay.arrival, stay.mover) for stay in found] == [(0, None), (0, TROLLEY), (1, None)]


def test_what_moved_before_the_flat_came_or_after_it_left_changes_nothing():
    arrivals = [Arrival(hour(9), TROLLEY), Arrival(hour(12), BAY)]
    settlings = {TROLLEY: [(hour(8), HALL), (hour(12), CHAMBER), (hour(13), HALL)]}
    assert told(stays(arrivals, settlings)) == [(9, 12, (TROLLEY, HALL)), (12, None, (BAY,))]


def test_a_chamber_that_moves_moves_the_trolley_in_it():
    settlings = {TROLLEY: [(hour(0), CHAMBER)], CHAMBER: [(hour(0), HALL), (hour(5), BAY)]}
    found = stays([Arrival(hour(1), TROLLEY)], settlings)
    assert told(found) == [(1, 5, (TROLLEY, CHAMBER, HALL)), (5, None, (TROLLEY, CHAMBER, BAY))]
    assert found[1].mover == CHAMBER


def test_two_words_on_one_moment_are_one_change():
    arrivals = [Arrival(hour(1), BAY), Arrival(hour(1), TROLLEY)]
    settlings = {TROLLEY: [(hour(1), HALL), (hour(3), CHAMBER), (hour(3), HALL)]}
    assert told(stays(arrivals, settlings)) == [(1, None, (TROLLEY, HALL))]


def test_where_nothing_is_said_nothing_is_known():
    assert told(stays([Arrival(hour(1), None)], {})) == [(1, None, ())]
    assert stays([], {}) == []


def test_a_circle_ends():
    settlings = {HALL: [(hour(0), BAY)], BAY: [(hour(0), HALL)]}
    assert chain_at(HALL, hour(1), settlings) == (HALL, BAY)


def test_arrivals_out_of_order_are_refused():
    with pytest.raises(ValueError, match="order of time"):
        stays([Arrival(hour(2), BAY), Arrival(hour(1), HALL)], {})


moments = st.integers(0, 8)
histories = st.fixed_dictionaries(
    {
        "arrivals": st.lists(st.tuples(moments, st.sampled_from([None, 1, 2, 3, 4])), min_size=1, max_size=5),
        # a place stands only in one of a higher number, so that there is no circle
        **{
            place: st.lists(st.tuples(moments, st.sampled_from([None, *range(place + 1, 5)])), max_size=4)
            for place in (1, 2, 3)
        },
    }
)


@settings(max_examples=300, deadline=None)
@given(histories)
def test_at_every_moment_the_stay_says_what_the_events_say(history):
    def by_time(entries):
        return sorted(entries, key=lambda entry: entry[0])

    arrivals = by_time(history["arrivals"])
    moves = {place: by_time(history[place]) for place in (1, 2, 3)}
    found = stays(
        [Arrival(hour(at), place) for at, place in arrivals],
        {place: [(hour(at), into) for at, into in entries] for place, entries in moves.items()},
    )

    def chain(half_hour):
        """What the events say, one after the other."""
        at = half_hour / 2
        place, row = next(place for moment, place in reversed(arrivals) if moment <= at), []
        while place:
            row.append(place)
            place = next((into for moment, into in reversed(moves.get(place, [])) if moment <= at), None)
        return tuple(row)

    first = arrivals[0][0]
    for half_hour in range(2 * first, 20):
        now = hour(half_hour / 2)
        [stay] = [one for one in found if one.since <= now and (one.until is None or now < one.until)]
        assert stay.chain == chain(half_hour)
    for one, other in pairwise(found):
        assert one.until == other.since and (one.chain, one.arrival) != (other.chain, other.arrival)
