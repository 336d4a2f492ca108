"""The reference fold itself, on cases worked by hand from the design's words: cells, and one day."""

import pytest

from tests import oracle
from tests.book import RUN_1, RUN_2, Book, march


@pytest.fixture
def book():
    return Book()


# --- one cell


def test_cell_without_marks_is_unmarked(book):
    assert book.state("1") == ("unmarked", False, set())


def test_replaced_mark_says_nothing_any_more(book):
    # wilting, then firm by somebody who saw that: firm alone is open.
    book.check("a", 5)
    book.mark("m1", "a", "1", "wilting")
    book.mark("m2", "a", "1", "firm", replaces=["m1"])
    assert book.state("1") == ("firm", False, {"m2"})


@pytest.mark.parametrize(
    ("one", "other", "worse"),
    [
        ("dead", "gone", "dead"),
        ("gone", "wilting", "gone"),
        ("wilting", "firm", "wilting"),
        ("firm", "unmarked", "firm"),
    ],
)
def test_worse_of_two_open_marks_counts_and_they_disagree(book, one, other, worse):
    # neither names the other; the order is dead, gone, wilting, firm, and unmarked is no statement of harm.
    book.check("a", 5)
    book.mark("m1", "a", "1", other)
    book.mark("m2", "a", "1", one)
    assert book.state("1") == (worse, True, {"m1", "m2"})


def test_two_open_marks_of_one_state_do_not_disagree(book):
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "1", "dead")
    assert book.state("1") == ("dead", False, {"m1", "m2"})


def test_undo_repeats_the_state_before(book):
    # wilting, dead (names it), undo of dead to wilting: only the undo is open.
    book.check("a", 5)
    book.mark("m1", "a", "1", "wilting")
    book.mark("m2", "a", "1", "dead", replaces=["m1"])
    book.mark("m3", "a", "1", "wilting", kind="undo", replaces=["m2"])
    assert book.state("1") == ("wilting", False, {"m3"})


def test_replaced_mark_still_replaces(book):
    # m1 <- m2 <- m3: m2 is replaced itself, m1 does not come back.
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "1", "firm", replaces=["m1"])
    book.mark("m3", "a", "1", "wilting", replaces=["m2"])
    assert book.state("1") == ("wilting", False, {"m3"})


def test_names_that_are_unknown_or_of_other_cells_are_ignored(book):
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "2", "firm", replaces=["m1", "nobody", "m2"])
    assert book.state("1") == ("dead", False, {"m1"})
    assert book.state("2") == ("firm", False, {"m2"})


def test_nobody_is_replaced_within_a_circle(book):
    # m1 -> m2 -> m3 -> m1 and m3 -> m4 outside: m4 is replaced, the three of the circle stand.
    book.check("a", 5)
    book.mark("m1", "a", "1", "firm", replaces=["m2"])
    book.mark("m2", "a", "1", "wilting", replaces=["m3"])
    book.mark("m3", "a", "1", "firm", replaces=["m1", "m4"])
    book.mark("m4", "a", "1", "dead")
    assert book.state("1") == ("wilting", True, {"m1", "m2", "m3"})


def test_circle_as_a_whole_can_be_replaced(book):
    # m3 stands outside the circle of m1 and m2 and names both.
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead", replaces=["m2"])
    book.mark("m2", "a", "1", "gone", replaces=["m1"])
    book.mark("m3", "a", "1", "firm", replaces=["m1", "m2"])
    assert book.state("1") == ("firm", False, {"m3"})


def test_later_day_does_not_reach_back(book):
    book.check("a", 5)
    book.check("b", 6)
    book.mark("m1", "a", "1", "wilting")
    book.mark("m2", "b", "1", "firm", replaces=["m1"])
    assert book.state("1", 5) == ("wilting", False, {"m1"})
    assert book.state("1", 6) == ("firm", False, {"m2"})


def test_circle_closed_on_a_later_day_does_not_reach_back(book):
    # on 5 March m2 replaces m1; on 6 March m3 closes the circle m1 -> m3 -> m2 -> m1.
    book.check("a", 5)
    book.check("b", 6)
    book.mark("m1", "a", "1", "dead", replaces=["m3"])
    book.mark("m2", "a", "1", "firm", replaces=["m1"])
    book.mark("m3", "b", "1", "firm", replaces=["m2"])
    assert book.state("1", 5) == ("firm", False, {"m2"})
    assert book.state("1", 6) == ("dead", True, {"m1", "m2", "m3"})


def test_correction_belongs_to_the_day_of_its_check(book):
    # said of the check of 5 March, whenever it was said: already 5 March counts it.
    book.check("a", 5)
    book.check("b", 6)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "1", "firm", kind="correction", replaces=["m1"])
    assert book.state("1", 5)[0] == "firm"


# --- one day


def test_closed_whole_check_sees_every_cell(book):
    # 4 grafted, one tapped dead, one tapped wilting: 3 alive of whom 1 wilting, 1 dead.
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "2", "wilting")
    book.close("c1", "a")
    assert book.counts(5) == (4, 4, 3, 1, 1, 0, 0)
    assert book.row(5)["is_closed"]


def test_open_check_sees_only_what_was_tapped(book):
    # places 3 and 4 were not looked at.
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "2", "firm")
    assert book.counts(5) == (4, 2, 1, 0, 1, 0, 0)
    assert not book.row(5)["is_closed"]


def test_closed_part_check_sees_its_places_and_what_was_tapped(book):
    # places 1 and 2 by the part, 3 by the tap; 4 unseen.
    book.check("a", 5, "part", places=[1, 2])
    book.mark("m1", "a", "3", "wilting")
    book.close("c1", "a")
    assert book.counts(5) == (4, 3, 3, 1, 0, 0, 0)


def test_known_dead_and_gone_count_as_seen_on_later_days(book):
    # on 6 March only place 3 is tapped; 1 is known dead, 2 known gone (on 5 March: early).
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "2", "gone")
    book.check("b", 6)
    book.mark("m3", "b", "3", "firm")
    assert book.counts(6) == (4, 3, 1, 0, 1, 1, 1)


def test_untouched_wilting_cell_stays_wilting(book):
    book.check("a", 5)
    book.mark("m1", "a", "1", "wilting")
    book.check("b", 6)
    book.close("c1", "b")
    assert book.counts(6) == (4, 4, 4, 1, 0, 0, 0)


def test_wilting_cell_not_looked_at_is_not_counted(book):
    book.check("a", 5)
    book.mark("m1", "a", "1", "wilting")
    book.check("b", 6)
    assert book.counts(6) == (4, 0, 0, 0, 0, 0, 0)


def test_undone_tap_is_no_look(book):
    book.check("a", 5)
    book.mark("m1", "a", "1", "wilting")
    book.mark("m2", "a", "1", "unmarked", kind="undo", replaces=["m1"])
    assert book.counts(5) == (4, 0, 0, 0, 0, 0, 0)


def test_tap_undone_on_a_later_day_was_a_look_on_its_day(book):
    book.check("a", 5)
    book.mark("m1", "a", "1", "wilting")
    book.check("b", 6)
    book.mark("m2", "b", "1", "unmarked", kind="undo", replaces=["m1"])
    assert book.counts(5) == (4, 1, 1, 1, 0, 0, 0)
    assert book.counts(6) == (4, 0, 0, 0, 0, 0, 0)


def test_correction_and_undo_are_no_looks(book):
    book.check("a", 5)
    book.mark("m1", "a", "1", "firm", kind="correction")
    book.mark("m2", "a", "2", "firm", kind="undo")
    assert book.counts(5) == (4, 0, 0, 0, 0, 0, 0)


def test_replaced_tap_is_still_a_look(book):
    # a correction replaces the state; somebody stood there all the same.
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.mark("m2", "a", "1", "firm", kind="correction", replaces=["m1"])
    assert book.counts(5) == (4, 1, 1, 0, 0, 0, 0)


def test_marks_of_a_void_check_count_nothing(book):
    # not as states, not as replacements, not as a day.
    book.check("a", 5)
    book.mark("m1", "a", "1", "dead")
    book.check("b", 5, void=True)
    book.mark("m2", "b", "1", "firm", replaces=["m1"])
    book.close("c1", "b")
    book.check("c", 6, void=True)
    book.close("c2", "c")
    assert book.counts(5) == (4, 1, 0, 0, 1, 0, 0)
    assert list(oracle.day_counts(book.history)) == [(1, march(5))]
    assert not book.row(5)["is_closed"]


def test_gone_is_early_before_day_7_only(book):
    # 8 March is day 6, 9 March day 7.
    book.check("a", 8)
    book.check("b", 9)
    book.mark("m1", "a", "1", "gone")
    book.mark("m2", "b", "2", "gone")
    book.close("c1", "b")
    assert book.counts(9) == (4, 4, 2, 0, 0, 2, 1)


def test_earliest_of_several_open_gone_marks_decides_early_leaving(book):
    book.check("a", 8)
    book.check("b", 16)
    book.mark("m1", "b", "1", "gone")
    book.mark("m2", "a", "1", "gone")
    assert book.counts(16) == (4, 1, 0, 0, 0, 1, 1)


def test_replaced_gone_mark_decides_nothing(book):
    book.check("a", 8)
    book.check("b", 16)
    book.mark("m1", "a", "1", "gone")
    book.mark("m2", "b", "1", "gone", replaces=["m1"])
    assert book.counts(16) == (4, 1, 0, 0, 0, 1, 0)


def test_run_is_counted_from_its_grafting_on():
    # on 9 March run 2 is not grafted yet; on 10 March its 2 cells stand beside the 4 of run 1.
    book = Book(RUN_1, RUN_2)
    for name, day in (("a", 9), ("b", 10)):
        book.check(name, day)
        book.close(f"c{name}", name)
    assert set(oracle.day_counts(book.history)) == {(1, march(9)), (1, march(10)), (2, march(10))}
    assert book.counts(10, run=2) == (2, 2, 2, 0, 0, 0, 0)
    assert (book.row(10)["pairing"], book.row(10, run=2)["pairing"]) == ("A", "B")
    assert (book.row(10)["season"], book.row(10, run=2)["season"]) == ("Spring", None)


def test_disagreement_is_told_for_the_run_it_is_in():
    book = Book(RUN_1, RUN_2)
    book.check("a", 12)
    book.mark("m1", "a", "2.2", "dead")
    book.mark("m2", "a", "2.2", "firm")
    assert not book.row(12)["has_disagreement"]
    assert book.row(12, run=2)["has_disagreement"]


# --- seen alive, by closing a check


def disagrees(book, cell="1", day=None):
    return book.state(cell, day)[1]


@pytest.fixture
def doubted(book):
    """On 5 March a is marked dead without network; b was closed the same day by who knew no mark."""
    book.check("a", 5)
    book.check("b", 5)
    book.mark("m1", "a", "1", "dead")
    book.close("c1", "b", known=[])
    return book


def test_a_death_and_a_closing_that_did_not_know_of_each_other_disagree(doubted):
    assert doubted.state("1") == ("dead", True, {"m1"})
    assert doubted.row(5)["has_disagreement"] and doubted.row(5)["dead"] == 1
    assert not disagrees(doubted, "2")


def test_a_closing_that_tells_nothing_or_was_taken_back_says_nothing(doubted):
    doubted.close("c1", "b")
    assert not disagrees(doubted)
    doubted.close("c1", "b", known=[])
    doubted.reopen("r1", "b", "c1")
    assert not disagrees(doubted)


def test_a_closing_that_knew_and_a_mark_that_knew_say_nothing(doubted):
    doubted.close("c2", "b", known=["m1"])
    assert not disagrees(doubted)
    del doubted.history["closings"]["c2"]
    assert disagrees(doubted)
    doubted.mark("m1", "a", "1", "dead", replaces=["c1"])
    assert not disagrees(doubted)


def test_a_closing_says_nothing_of_what_its_check_marked_or_did_not_see(doubted):
    doubted.mark("m2", "b", "1", "dead")
    assert not disagrees(doubted)
    del doubted.history["marks"]["m2"]
    doubted.check("b", 5, "part", places=[2])
    assert not disagrees(doubted)
    doubted.check("b", 5, "part", places=[1])
    assert disagrees(doubted)


def test_a_closing_is_against_deaths_of_its_day_and_before(doubted):
    doubted.check("b", 7)
    assert (disagrees(doubted, day=6), disagrees(doubted, day=7), disagrees(doubted)) == (False, True, True)
    doubted.check("b", 4)
    assert not disagrees(doubted)


def test_who_replaces_a_mark_that_knew_knows_as_well(doubted):
    doubted.mark("m2", "a", "1", "dead", replaces=["m1", "c1"])
    doubted.check("d", 5)
    doubted.mark("m3", "d", "1", "dead", replaces=["m2"])
    assert not disagrees(doubted)


def test_what_was_known_dead_by_another_mark_was_not_seen_alive(doubted):
    doubted.check("d", 5)
    doubted.mark("m2", "d", "1", "dead")
    assert disagrees(doubted)
    doubted.close("c1", "b", known=["m2"])
    assert not disagrees(doubted)


def test_a_closing_says_nothing_of_a_graft_that_did_not_stand_that_day():
    book = Book(RUN_1, RUN_2)
    book.check("a", 5)
    book.check("b", 12)
    book.mark("m1", "a", "2", "dead")
    book.close("c1", "b", known=[])
    assert not disagrees(book, "2")
    book.check("b", 9)
    assert disagrees(book, "2")
    book.mark("m2", "a", "2.2", "dead")  # by a clock that was wrong
    assert not disagrees(book, "2.2")


def test_a_void_check_a_leaving_and_numbers_see_nothing(doubted):
    for fields in ({"void": True}, {"is_leaving": True}, {"kind": "numbers"}):
        doubted.check("b", 5)
        assert disagrees(doubted)
        doubted.history["checks"]["b"] |= fields
        assert not disagrees(doubted)
