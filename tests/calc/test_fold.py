"""The fold of one cell's marks: cases by hand, and properties over any set of marks."""

from datetime import date, timedelta
from itertools import pairwise, permutations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.fold import WORST_FIRST, CellFold, MarkFact, fold_cell

DAY = date(2026, 3, 10)
NAMES = tuple("abcdefg")


def mark(uuid: str, state: str, *replaces: str, kind: str = "seen", day: int = 0) -> MarkFact:
    return MarkFact(uuid, kind, state, replaces, DAY + timedelta(days=day))


def summary(fold: CellFold) -> tuple[str, bool, str | None, str]:
    deciding = fold.deciding.uuid if fold.deciding else None
    return fold.state, fold.disagreement, deciding, "".join(fact.uuid for fact in fold.open)


def plain_open(marks: list[MarkFact]) -> set[str]:
    """Return the open marks by the words of the design, with reachability found the slow, obvious way."""
    edges = {(a.uuid, b.uuid) for a in marks for b in marks if b.uuid in a.replaces and a.uuid != b.uuid}
    names = {fact.uuid for fact in marks}
    reach = set(edges)
    for middle, start, end in product(names, names, names):
        if (start, middle) in reach and (middle, end) in reach:
            reach.add((start, end))
    return names - {b for a, b in edges if (b, a) not in reach}


@st.composite
def histories(draw: st.DrawFn) -> list[MarkFact]:
    """Any marks with any replacements among them: unknown names, themselves and circles included."""
    names = NAMES[: draw(st.integers(0, len(NAMES)))]
    return [
        MarkFact(
            name,
            draw(st.sampled_from(["seen", "undo", "correction"])),
            draw(st.sampled_from(WORST_FIRST)),
            tuple(draw(st.lists(st.sampled_from((*names, "unknown")), max_size=3))),
            DAY + timedelta(days=draw(st.integers(0, 3))),
        )
        for name in names
    ]


def test_no_marks_is_unmarked():
    assert fold_cell([]) == CellFold("unmarked", False, None, ())


def test_one_mark_decides():
    only = mark("a", "wilting")
    assert fold_cell([only]) == CellFold("wilting", False, only, (only,))


def test_the_worked_example_of_the_module_holds():
    a, b = mark("a", "dead"), mark("b", "wilting")
    c, d = mark("c", "unmarked", "a", kind="undo"), mark("d", "dead", "b", "c")
    assert summary(fold_cell([a, b])) == ("dead", True, "a", "ab")
    assert summary(fold_cell([a, b, c])) == ("wilting", True, "b", "bc")
    for order in permutations([a, b, c, d]):
        assert summary(fold_cell(order)) == ("dead", False, "d", "d")


def test_an_undo_brings_back_what_was_before():
    marks = [mark("a", "wilting"), mark("b", "dead", "a"), mark("c", "wilting", "b", kind="undo")]
    assert summary(fold_cell(marks)) == ("wilting", False, "c", "c")


def test_an_undone_tap_leaves_the_cell_unmarked():
    marks = [mark("a", "dead"), mark("b", "unmarked", "a", kind="undo")]
    assert summary(fold_cell(marks)) == ("unmarked", False, "b", "b")


def test_two_taps_of_the_same_state_agree():
    assert summary(fold_cell([mark("b", "dead"), mark("a", "dead")])) == ("dead", False, "a", "ab")


def test_a_replaced_mark_still_replaces():
    marks = [mark("a", "dead"), mark("b", "firm", "a", kind="correction"), mark("c", "wilting", "b")]
    assert summary(fold_cell(marks)) == ("wilting", False, "c", "c")


@pytest.mark.parametrize(("worse", "better"), list(pairwise(WORST_FIRST)))
def test_the_worse_of_two_counts(worse, better):
    assert summary(fold_cell([mark("a", better), mark("b", worse)])) == (worse, True, "b", "ab")


def test_the_order_of_badness_is_the_design_s():
    assert WORST_FIRST == ("dead", "gone", "wilting", "firm", "unmarked")


def test_the_earliest_departure_decides():
    late, early = mark("a", "gone", day=5), mark("b", "gone", day=2)
    assert summary(fold_cell([late, early, mark("c", "firm")])) == ("gone", True, "b", "abc")
    same_day = [mark("c", "gone"), mark("b", "gone")]
    assert fold_cell(same_day).deciding == same_day[1]


def test_the_day_does_not_decide_between_other_states():
    assert fold_cell([mark("b", "dead", day=0), mark("a", "dead", day=4)]).deciding.uuid == "a"


def test_unknown_names_and_itself_replace_nothing():
    marks = [mark("a", "dead", "a", "elsewhere"), mark("b", "firm", "b")]
    assert summary(fold_cell(marks)) == ("dead", True, "a", "ab")
    assert summary(fold_cell(marks[:1])) == ("dead", False, "a", "a")


def test_two_that_replace_each_other_replace_nothing():
    marks = [mark("a", "dead", "b"), mark("b", "firm", "a")]
    assert summary(fold_cell(marks)) == ("dead", True, "a", "ab")


def test_a_circle_still_replaces_what_hangs_from_it():
    circle = [mark("a", "firm", "b"), mark("b", "firm", "c"), mark("c", "firm", "a", "d")]
    assert summary(fold_cell([*circle, mark("d", "dead")])) == ("firm", False, "a", "abc")


def test_a_circle_can_be_replaced_from_outside_mark_by_mark():
    circle = [mark("a", "dead", "b"), mark("b", "wilting", "a")]
    assert summary(fold_cell([*circle, mark("c", "firm", "a")])) == ("wilting", True, "b", "bc")
    assert summary(fold_cell([*circle, mark("c", "firm", "a", "b")])) == ("firm", False, "c", "c")


def test_a_mark_between_two_circles_belongs_to_neither():
    upper, lower = [mark("a", "firm", "b"), mark("b", "firm", "a", "c")], mark("c", "dead", "d")
    below = [mark("d", "wilting", "e"), mark("e", "wilting", "d")]
    assert summary(fold_cell([*upper, lower, *below])) == ("wilting", True, "e", "abe")


@given(histories())
def test_open_marks_are_those_of_the_plain_rule(marks):
    fold = fold_cell(marks)
    assert {fact.uuid for fact in fold.open} == plain_open(marks)
    assert [fact.uuid for fact in fold.open] == sorted(plain_open(marks))


@given(histories().filter(bool))
def test_some_mark_is_open_and_the_worst_of_them_decides(marks):
    fold = fold_cell(marks)
    states = {fact.state for fact in fold.open}
    assert fold.state == fold.deciding.state == min(states, key=WORST_FIRST.index)
    assert fold.disagreement == (len(states) > 1)
    assert fold.deciding in fold.open


@given(histories(), st.data())
def test_order_and_duplicates_change_nothing(marks, data):
    again = marks + (data.draw(st.lists(st.sampled_from(marks))) if marks else [])
    assert fold_cell(data.draw(st.permutations(again))) == fold_cell(marks)


@given(st.permutations([mark("a", "dead"), mark("a", "firm"), mark("b", "wilting", "a"), mark("a", "dead")]))
def test_even_two_contents_of_one_uuid_fold_alike_in_any_order(marks):
    assert summary(fold_cell(marks)) == ("wilting", False, "b", "b")


@given(st.permutations([mark("a", "gone"), mark("a", "firm"), mark("b", "firm")]))
def test_of_two_contents_of_one_uuid_always_the_same_is_kept(marks):
    assert summary(fold_cell(marks)) == ("firm", False, "a", "ab")


@given(st.lists(st.sampled_from(WORST_FIRST), min_size=1, max_size=12))
def test_one_tablet_s_story_ends_with_its_last_mark(states):
    marks = [
        mark(f"{number:02}", state, *([f"{number - 1:02}"] if number else []))
        for number, state in enumerate(states)
    ]
    assert summary(fold_cell(marks))[:2] == (states[-1], False)


def test_a_very_long_story_folds():
    size = 5000
    marks = [mark(f"{number:05}", "firm", f"{(number + 1) % size:05}") for number in range(size)]
    assert len(fold_cell(marks).open) == size
    marks[-1] = mark(f"{size - 1:05}", "dead")
    assert summary(fold_cell(marks)) == ("firm", False, "00000", "00000")


@pytest.mark.parametrize("others", [[], [mark("b", "firm")]])
def test_refuses_a_state_it_does_not_know(others):
    with pytest.raises(
        ValueError, match="state must be one of dead, gone, wilting, firm, unmarked, got 'alive'"
    ):
        fold_cell([mark("a", "alive"), *others])
