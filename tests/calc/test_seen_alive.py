"""Closed checks that saw a plant alive against marks that call it dead."""

from datetime import date, timedelta

import pytest

from nursery.calc.fold import MarkFact, fold_cell
from nursery.calc.seen_alive import Look, doubts, fold_with_looks

DAY = date(2026, 3, 9)
ANA, BEN, WREN = 1, 2, 3  # their checks


def mark(uuid, state, *replaces, check=ANA, day=0):
    return MarkFact(uuid, "seen", state, replaces, DAY + timedelta(days=day), check)


def look(*known, check=BEN, day=0, closing="c"):
    return Look(check, DAY + timedelta(days=day), frozenset({closing}), frozenset(known))


def against(marks, *looks):
    return [(mark.uuid, look.check) for mark, look in doubts(fold_cell(marks), marks, looks)]


def summary(fold):
    return fold.state, fold.disagreement, "".join(mark.uuid for mark in fold.open)


def test_worked_example_of_the_text():
    a, d = mark("a", "dead"), mark("d", "firm", "a", "c", check=WREN)
    assert summary(fold_with_looks([a], [look()])) == ("dead", True, "a")
    assert summary(fold_with_looks([a, d], [look()])) == ("firm", False, "d")
    assert summary(fold_with_looks([a], [look("a")])) == ("dead", False, "a")
    assert summary(fold_with_looks([mark("a", "dead", "c")], [look()])) == ("dead", False, "a")


def test_without_looks_the_fold_is_what_the_marks_say():
    marks = [mark("a", "dead"), mark("b", "firm", check=BEN)]
    assert fold_with_looks(marks, []) == fold_cell(marks)
    assert fold_with_looks([], [look()]) == fold_cell([])


@pytest.mark.parametrize("state", ["gone", "wilting", "firm", "unmarked"])
def test_only_a_death_is_doubted(state):
    assert not against([mark("a", state)], look())


@pytest.mark.parametrize(("day", "found"), [(-1, []), (0, [("a", BEN)]), (5, [("a", BEN)])])
def test_a_look_speaks_against_deaths_of_its_day_and_before(day, found):
    assert against([mark("a", "dead")], look(day=day)) == found


def test_a_check_that_marked_the_cell_says_it_by_that_mark_alone():
    marks = [mark("a", "dead"), mark("b", "firm", check=BEN), mark("u", "unmarked", "b", check=BEN)]
    assert not against(marks, look())


def test_what_was_known_dead_by_another_mark_was_left_alone_for_that():
    # both tablets called it dead; who closed knew one of them, or gave its cause later
    assert not against([mark("a", "dead"), mark("b", "dead", check=WREN)], look("b"))
    assert not against([mark("a", "dead"), mark("b", "dead", "a", check=WREN)], look("a"))
    assert not against([mark("g", "gone"), mark("b", "dead", check=WREN)], look("g"))


def test_what_was_known_dead_and_known_taken_back_was_seen_alive():
    marks = [mark("a", "dead"), mark("u", "unmarked", "a"), mark("b", "dead", check=WREN)]
    assert against(marks, look("a", "u")) == [("b", BEN)]
    assert not against(marks, look("a"))


def test_who_replaces_a_mark_knows_what_its_author_knew():
    settled, again = mark("s", "dead", "a", "c", check=BEN), mark("t", "dead", "s", check=WREN)
    assert not against([mark("a", "dead"), settled, again], look(check=4))
    assert against([mark("a", "dead"), mark("s", "dead", "a"), again], look(check=4)) == [("t", 4)]


def test_each_look_and_each_death_counts_by_itself():
    marks = [mark("a", "dead", "c"), mark("b", "dead", check=WREN)]
    other = look(check=5, closing="e", day=2)
    assert against(marks, look(), other) == [("a", 5), ("b", BEN), ("b", 5)]


def test_marks_in_a_circle_end():
    marks = [mark("a", "dead", "b"), mark("b", "dead", "a", "c", check=WREN)]
    assert not against(marks, look(check=4))


def test_a_replaced_death_is_not_doubted():
    assert not against([mark("a", "dead"), mark("b", "wilting", "a", check=WREN)], look())
