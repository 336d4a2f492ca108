"""The reference fold itself, by hand: what is closed, what stands by numbers, what is the record."""

import pytest

from tests import oracle
from tests.book import Book, march


@pytest.fixture
def book():
    return Book()


# --- closings


def test_reopening_takes_back_the_closing_it_names(book):
    book.check("a", 5)
    book.close("c1", "a")
    book.reopen("r1", "a", "c1")
    assert not book.row(5)["is_closed"]


def test_closing_that_no_reopening_names_stands(book):
    # two people closed at once, a grower who saw only one of them opened again.
    book.check("a", 5)
    book.close("c1", "a")
    book.close("c2", "a")
    book.reopen("r1", "a", "c1")
    assert book.row(5)["is_closed"]


def test_reopening_of_another_check_takes_nothing_back(book):
    book.check("a", 5)
    book.check("b", 5)
    book.close("c1", "a")
    book.reopen("r1", "b", "c1")
    assert book.row(5)["is_closed"]


def test_day_is_closed_when_one_of_its_checks_is(book):
    # the open check's tap and the closed part's place are both seen: 2 of 4.
    book.check("a", 5)
    book.mark("m1", "a", "1", "firm")
    book.check("b", 5, "part", places=[2])
    book.close("c1", "b")
    assert book.row(5)["is_closed"]
    assert book.counts(5) == (4, 2, 2, 0, 0, 0, 0)


# --- numbers only


def test_numbers_stand_for_their_day(book):
    # 1 dead and 2 wilting of 4: 3 alive.
    book.check("a", 5, "numbers")
    book.numbers("a", 1, 1, 2)
    book.close("c1", "a")
    assert book.counts(5) == (4, 4, 3, 2, 1, 0, 0)
    assert book.row(5)["source"] == "numbers"


def test_numbers_do_not_carry_to_the_next_day(book):
    book.check("a", 5, "numbers")
    book.numbers("a", 1, 1, 2)
    book.close("c1", "a")
    book.check("b", 6)
    book.close("c2", "b")
    assert book.counts(6) == (4, 4, 4, 0, 0, 0, 0)


def test_numbers_of_an_open_check_do_not_stand(book):
    book.check("a", 5, "numbers")
    book.numbers("a", 1, 1, 2)
    assert book.counts(5) == (4, 0, 0, 0, 0, 0, 0)


def test_numbers_give_way_to_a_closed_check_by_cells(book):
    book.check("a", 5, "numbers")
    book.numbers("a", 1, 1, 2)
    book.close("c1", "a")
    book.check("b", 5, "part", places=[1])
    book.close("c2", "b")
    assert book.counts(5) == (4, 1, 1, 0, 0, 0, 0)
    assert book.row(5)["source"] == "cells"


def test_numbers_do_not_fall_below_what_cells_show_dead(book):
    # cells show 2 dead, numbers say 1: 2 dead, 2 alive.
    book.check("a", 4)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "2", "dead")
    book.check("b", 5, "numbers")
    book.numbers("b", 1, 1, 0)
    book.close("c1", "b")
    assert book.counts(5) == (4, 4, 2, 0, 2, 0, 0)


def test_numbers_are_cut_to_what_stands(book):
    # 1 gone leaves 3; 5 dead cannot be, so 3; none is left to wilt.
    book.check("a", 4)
    book.mark("m1", "a", "1", "gone")
    book.check("b", 5, "numbers")
    book.numbers("b", 1, 5, 2)
    book.close("c1", "b")
    assert book.counts(5) == (4, 4, 0, 0, 3, 1, 1)


def test_worse_of_two_checks_by_numbers_counts(book):
    # the one with more dead, with its own wilting: 2 dead, 0 wilting, not 2 and 1.
    book.check("a", 5, "numbers")
    book.numbers("a", 1, 1, 1)
    book.close("c1", "a")
    book.check("b", 5, "numbers")
    book.numbers("b", 1, 2, 0)
    book.close("c2", "b")
    assert book.counts(5) == (4, 4, 2, 0, 2, 0, 0)


# --- the record


def test_record_is_the_first_closed_complete_day_from_the_record_day_on(book):
    # 15 March too soon, 16 open, 17 a part only, 18 it is, 19 no second one.
    for name, day in (("a", 15), ("b", 16), ("d", 18), ("e", 19)):
        book.check(name, day)
    book.check("c", 17, "part", places=[1, 2, 3])
    for name in "acde":
        book.close(f"c-{name}", name)
    assert [day for (_, day), row in oracle.day_counts(book.history).items() if row["is_record"]] == [
        march(18)
    ]


def test_record_day_itself_counts(book):
    book.check("a", 16)
    book.close("c1", "a")
    assert book.row(16)["is_record"]


def test_run_with_nothing_alive_is_final_at_once(book):
    # 3 dead and 1 gone: nothing alive on day 3.
    book.check("a", 5)
    for cell in "123":
        book.mark(f"m{cell}", "a", cell, "dead")
    book.mark("m4", "a", "4", "gone")
    book.close("c1", "a")
    assert book.row(5)["is_record"]


def test_nothing_seen_alive_on_a_day_partly_seen_is_no_record(book):
    book.check("a", 5, "part", places=[])
    book.mark("m1", "a", "1", "dead")
    book.close("c1", "a")
    assert not book.row(5)["is_record"]


def test_part_checks_that_see_all_together_make_a_record(book):
    # places 1 and 2 in the morning, 3 and 4 in the afternoon: every cell was seen that day.
    book.check("a", 16, "part", places=[1, 2])
    book.check("b", 16, "part", places=[3, 4])
    book.close("c1", "a")
    book.close("c2", "b")
    assert book.row(16)["is_record"]
