"""Places are said and allotted as counted out by hand; the partition is proved for any flat."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.places import (
    PlaceError,
    allot,
    place_name,
    place_number,
    places_text,
    read_blanks,
    read_places,
    spans_of,
)


def test_names_places_row_by_row_from_the_label_corner():
    assert [place_name(n, 12) for n in (1, 12, 13, 72)] == ["A1", "A12", "B1", "F12"]


def test_refuses_a_row_beyond_z():
    with pytest.raises(ValueError, match="rows A to Z"):
        place_name(261, 10)


@given(rows=st.integers(1, 26), columns=st.integers(1, 40), data=st.data())
def test_reads_back_every_name(rows, columns, data):
    place = data.draw(st.integers(1, rows * columns))
    assert place_number(place_name(place, columns).lower(), rows=rows, columns=columns) == place


@pytest.mark.parametrize(
    ("said", "reason"), [("3A", "form"), ("", "form"), ("A0", "form"), ("G1", "outside"), ("A13", "outside")]
)
def test_says_why_a_place_is_none(said, reason):
    with pytest.raises(PlaceError) as raised:
        place_number(said, rows=6, columns=12)
    assert raised.value.reason == reason


def test_reads_blanks_in_any_order_and_once():
    used = range(1, 73)
    assert read_blanks(" f11, a3;A03 ", used, rows=6, columns=12) == [3, 71]
    assert read_blanks("", used, rows=6, columns=12) == []


def test_a_number_alone_means_the_last_places_that_are_used():
    assert read_blanks("3", [1, 3, 5, 7, 9], rows=2, columns=5) == [5, 7, 9]
    assert read_blanks("0", [1, 3], rows=1, columns=3) == []


@pytest.mark.parametrize(
    ("text", "reason"), [("A2", "unused"), ("4", "too_many"), ("1" * 5000, "too_many"), ("A1 2", "form")]
)
def test_refuses_blanks_that_cannot_be(text, reason):
    with pytest.raises(PlaceError) as raised:
        read_blanks(text, [1, 3, 5], rows=1, columns=5)
    assert raised.value.reason == reason


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("", []),
        ("B1 a01, A1", [1, 13]),
        ("A10-B2", [10, 11, 12, 13, 14]),
        ("a10 \u2013 b2; C1", [10, 11, 12, 13, 14, 25]),
        ("A11..B1", [11, 12, 13]),
        ("B", list(range(13, 25))),
        ("A-B", list(range(1, 25))),
        ("A12-B", list(range(12, 25))),
    ],
)
def test_reads_places_rows_and_spans(text, places):
    # Counted out by hand for a flat of 6 rows and 12 columns.
    assert read_places(text, rows=6, columns=12) == places


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("B2-A1", "form"),
        ("A1-", "form"),
        ("-A1", "form"),
        ("12", "form"),
        ("A1-G1", "outside"),
        ("G", "outside"),
    ],
)
def test_refuses_spans_that_cannot_be(text, reason):
    with pytest.raises(PlaceError) as raised:
        read_places(text, rows=6, columns=12)
    assert raised.value.reason == reason


def test_says_places_as_spans():
    assert spans_of([7, 1, 3, 2]) == [(1, 3), (7, 7)]
    assert places_text([1, 2, 3, 7, 13], 12) == "A1-A3 A7 B1"


@given(rows=st.integers(1, 26), columns=st.integers(1, 40), data=st.data())
def test_reads_back_every_text_of_places(rows, columns, data):
    places = sorted(data.draw(st.sets(st.integers(1, rows * columns))))
    assert read_places(places_text(places, columns), rows=rows, columns=columns) == places


def test_allots_the_example_of_the_docstring():
    plants = allot([1, 3, 4, 5, 6], [1, 4])
    assert [(p.place_no, p.run_number, p.order_in_run) for p in plants] == [
        (1, 1, 1), (3, 1, 2), (4, 2, 1), (5, 2, 2), (6, 2, 3),
    ]  # fmt: skip


def test_refuses_starts_that_do_not_rise():
    with pytest.raises(ValueError, match="must rise"):
        allot([1, 2, 3], [1, 2, 2])
    with pytest.raises(ValueError, match="at least one run"):
        allot([1], [])


@given(
    places=st.sets(st.integers(1, 100), min_size=1).map(sorted),
    starts=st.sets(st.integers(2, 100), max_size=6).map(lambda later: [1, *sorted(later)]),
)
def test_runs_part_the_places_and_orders_count_up(places, starts):
    plants = allot(places, starts)
    assert [plant.place_no for plant in plants] == places
    for number, start in enumerate(starts, 1):
        own = [plant for plant in plants if plant.run_number == number]
        end = starts[number] if number < len(starts) else 101
        assert [p.place_no for p in own] == [place for place in places if start <= place < end]
        assert [p.order_in_run for p in own] == list(range(1, len(own) + 1))
