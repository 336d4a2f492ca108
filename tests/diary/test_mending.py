"""The diary goes on: mistakes, and what the book must say once they are put right; counted by hand too."""

from datetime import date

import pytest

from nursery.actions.corrections import correct_runs, put_back
from nursery.actions.leaving import let_leave_by_number
from nursery.actions.mending import give_check, unvoid_check, void_check
from nursery.actions.settling import settle
from nursery.models import Cell, Change
from tests.diary.book import march, place

pytestmark = pytest.mark.django_db
AMBER = "Amber on Oak"


def test_29_the_wrong_worker_stood_on_three_flats(diary, amber, ash, birch):
    # Three flats of 72 by Ash; dead on day 14: 2, 3 and 10. Ash 201 of 216. The last two were Birch's: Ash 70
    # of 72, Birch 69 + 62 = 131 of 144. Put back, Ash has all again.
    flats = [diary.flat(2, amber, (ash, "A1-F12")) for _ in range(3)]
    for flat, dead in zip(flats, ("A1 A2", "A1-A3", "A1-A10"), strict=True):
        diary.check(flat, 16, dead=dead)
    assert diary.take("Ash", by="grafter") == (201, 216, 3)
    runs = [flat.runs.get() for flat in flats[1:]]
    change = correct_runs(runs, changes={"worker": birch}, reason="Birch stood there", stamp=diary.stamp(17))[
        0
    ]
    assert diary.take("Ash", by="grafter") == (70, 72, 1)
    assert diary.take("Birch", by="grafter") == (131, 144, 2)
    put_back(change, stamp=diary.stamp(18))
    assert diary.take("Ash", by="grafter") == (201, 216, 3) and diary.take("Birch", by="grafter") is None
    assert Change.objects.filter(field="worker").count() == 4 and diary.is_proved()


def test_30_the_wrong_pairing_and_the_wrong_day(diary, amber, ash):
    # 72 "Amber on Oak" of 2 March, 4 dead on 16 March: 68 of 72. They were Cress on Oak, and grafted on 4
    # March: 16 March is their day 12, an early count. On 18 March, day 14, one more is dead: 67 of 72.
    cress = diary.pairing("Cress", "Oak 2")
    flat = diary.flat(2, amber, (ash, "A1-F12"))
    diary.check(flat, 16, dead="A1-A4")
    changes = {"pairing": cress, "grafted_on": date(2026, 3, 4)}
    correct_runs([flat.runs.get()], changes=changes, reason="Label mixed up", stamp=diary.stamp(17))
    assert diary.take(AMBER) is None and diary.take("Cress on Oak 2") is None
    assert diary.early("Cress on Oak 2") == {12: (68, 72)}
    diary.check(flat, 18, dead="A5")
    assert diary.take("Cress on Oak 2") == (67, 72, 1) and diary.is_proved()


def test_31_the_wrong_flat_was_checked(diary, amber, ash):
    # The record check of the second flat (7 dead) was tapped on the first, which had its own with 2 dead. The
    # first shows 9 dead, the second nothing. Given to the second: 70 of 72 and 65 of 72, together 135 of 144.
    first, second = (diary.flat(2, amber, (ash, "A1-F12")) for _ in range(2))
    diary.check(first, 16, dead="A1 A2")
    wrong = diary.check(first, 16, dead="C1-C7", hour=13)
    assert diary.take(AMBER) == (63, 72, 1)
    give_check(wrong, to_flat=second, reason="Wrong label scanned", stamp=diary.stamp(17))
    assert diary.take(AMBER) == (135, 144, 2)
    assert diary.stock(first) == (70, 2, 0) and diary.stock(second) == (65, 7, 0) and diary.is_proved()


def test_32_a_check_by_a_child_with_a_tablet(diary, amber, ash):
    # Day 14: 72 dead, tapped in play: 0 of 72. Voided: no record. Put back, by mistake: 0 of 72 again.
    flat = diary.flat(2, amber, (ash, "A1-F12"))
    check = diary.check(flat, 16, dead="A1-F12")
    assert diary.take(AMBER) == (0, 72, 1)
    void_check(check, reason="A child played", stamp=diary.stamp(16))
    assert diary.take(AMBER) is None and diary.stock(flat) == (72, 0, 0)
    check.refresh_from_db()
    unvoid_check(check, reason="Pressed too soon", stamp=diary.stamp(16))
    assert diary.take(AMBER) == (0, 72, 1) and diary.is_proved()


def test_33_two_people_see_one_cell_differently(diary, amber, ash):
    # Morning: B5 wilts. A second tablet, which did not know, says dead: the worse counts, 71 of 72. Settled
    # as wilting: 72 of 72, one of them wilting.
    flat = diary.flat(2, amber, (ash, "A1-F12"))
    check = diary.check(flat, 16, wilting="B5")
    diary.late_tap(check, "B5", "dead", arrives_on=16)
    assert diary.take(AMBER) == (71, 72, 1)
    cell = Cell.objects.get(flat=flat, place_no=place("B5"))
    uuids = [str(mark.uuid) for mark in cell.marks.all()]
    settle(cell, uuids=uuids, state="wilting", reason="Looked again", stamp=diary.stamp(17))
    assert diary.take(AMBER) == (72, 72, 1)
    assert flat.day_counts.get().wilting == 1 and diary.is_proved()


def test_34_more_dead_than_can_be(diary, amber, ash):
    # 60 of 72 left by number on day 12. On day 14 somebody taps 20 dead where 12 can stand: what left has
    # left, 12 are counted dead, 60 of 72, and the flat is in dispute until somebody settles it.
    flat = diary.flat(2, amber, (ash, "A1-F12"))
    let_leave_by_number(flat, numbers={flat.runs.get().pk: 60}, reason="sold", stamp=diary.stamp(14))
    diary.check(flat, 16, dead="A1-B8")
    assert diary.take(AMBER) == (60, 72, 1) and diary.stock(flat) == (0, 12, 60)
    assert flat.day_counts.get(day=march(16).date()).has_disagreement and diary.is_proved()


def test_35_a_correction_does_not_reach_the_neighbour(diary, amber, ash, birch):
    # One flat, Ash 40 cells with 2 dead and Birch 32 with 3: corrected to one worker, the flat's sum stays 67
    # of 72.
    flat = diary.flat(2, amber, (ash, "A1-D4"), (birch, "D5-F12"))
    diary.check(flat, 16, dead="A1 A2 F1-F3")
    assert (diary.take("Ash", by="grafter"), diary.take("Birch", by="grafter")) == ((38, 40, 1), (29, 32, 1))
    correct_runs(
        [flat.runs.get(number=2)], changes={"worker": ash}, reason="Ash alone", stamp=diary.stamp(17)
    )
    assert diary.take("Ash", by="grafter") == (67, 72, 1) and diary.take(AMBER) == (67, 72, 1)
    assert diary.is_proved()
