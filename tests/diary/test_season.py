"""A season's diary. Each entry says what happened, and, counted by hand, what the book must say then.

Take = (alive + gone alive on day 7 or later) / (grafted - gone before day 7), at the first closed and
complete day from day 14 on; from severing for tongue approach; at once where nothing is left alive.
"""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.bench import Tray
from nursery.actions.leaving import Goal, discard_flat, let_all_leave, let_leave, let_leave_by_number, sever
from nursery.actions.moving import begin_flat, move_by_number, move_cells, put_together
from nursery.actions.regraft import regraft, undo_regraft
from nursery.actions.undo_leaving import undo_act, undo_discard, undo_leaving
from nursery.actions.work import Work
from nursery.models import Leaving, Run, Stage, standing_moves
from tests.diary.book import places

pytestmark = pytest.mark.django_db
AMBER = "Amber on Oak"


def run_of(flat, number=1):
    return flat.runs.get(number=number)


@pytest.fixture
def a(diary, amber, ash):
    """2 March: Ash grafts 72."""
    return diary.flat(2, amber, (ash, "A1-F12"))


# --- leaving ------------------------------------------------------------------------------------------


def test_01_sixty_leave_on_day_12(diary, a, grower):
    # 72 grafted on 2 March. 60 are sold on 14 March, day 12. On 16 March, day 14, two of the other 12 are
    # dead: 10 alive + 60 that left = 70 of 72.
    let_leave(a, places=places("A1-E12"), reason="sold", stamp=diary.stamp(14))
    assert diary.take(AMBER) is None
    diary.check(a, 16, dead="F1 F2")
    assert diary.take(AMBER) == (70, 72, 1)
    assert diary.left(AMBER) == (0, {12: 60})
    assert "70 of 72" in diary.page(grower) and diary.is_proved()


def test_02_two_leave_as_samples_on_day_3(diary, a):
    # Two of 72 leave on day 3: they showed nothing, 70 are left to judge. On day 14 three of them are dead.
    let_leave(a, places=places("A1 A2"), reason="sample", stamp=diary.stamp(5))
    diary.check(a, 16, dead="B1-B3")
    assert diary.take(AMBER) == (67, 70, 1)
    assert diary.left(AMBER) == (2, {})


@pytest.mark.parametrize(("day", "counted"), [(8, (58, 60, 1)), (9, (70, 72, 1))])
def test_03_day_7_is_the_border(diary, a, day, counted):
    # 12 leave on 8 March (day 6: 60 are left to judge) or on 9 March (day 7: they count as alive); 2 die.
    let_leave(a, places=places("A1-A12"), reason="planted", stamp=diary.stamp(day))
    diary.check(a, 16, dead="F1 F2")
    assert diary.take(AMBER) == counted


def test_04_a_flat_goes_in_parts_to_two_customers_and_a_bed(diary, a):
    # Day 14: 8 of 72 dead, 64 took. Then 20 and 20 are sold and 10 planted, by number: 64 - 50 = 14 live. The
    # record stays what it was.
    diary.check(a, 16, dead="A1-A8")
    for number, reason, where in (
        (20, "sold", "Market"),
        (20, "sold", "Neighbour"),
        (10, "planted", "Bed 4"),
    ):
        goal = Goal(reason, where)
        let_leave_by_number(a, numbers={run_of(a).pk: number}, goal=goal, stamp=diary.stamp(20))
    assert diary.stock(a) == (14, 8, 50)
    assert diary.take(AMBER) == (64, 72, 1) and diary.is_proved()


def test_05_no_more_leave_than_live(diary, a):
    # 64 live: 65 cannot leave, and nothing is written down.
    diary.check(a, 16, dead="A1-A8")
    with pytest.raises(ValidationError, match="Only 64"):
        let_leave_by_number(a, numbers={run_of(a).pk: 65}, reason="sold", stamp=diary.stamp(20))
    assert diary.stock(a) == (64, 8, 0) and not Leaving.objects.exists()


def test_06_by_number_before_the_record(diary, a):
    # 30 of 72 leave by number on day 10. On day 14 all 72 places are looked at and 5 plants are found dead:
    # of the 67 places not dead 30 are empty: 37 alive + 30 that left = 67 of 72.
    let_leave_by_number(a, numbers={run_of(a).pk: 30}, reason="sold", stamp=diary.stamp(12))
    diary.check(a, 16, dead="F8-F12")
    assert diary.take(AMBER) == (67, 72, 1)
    assert diary.left(AMBER) == (0, {10: 30}) and diary.stock(a) == (37, 5, 30)


def test_07_the_wrong_thirty_are_taken_back(diary, a):
    # The same, but it was another flat: without the leaving 67 are alive, and the take is the same 67 of 72.
    leaving = let_leave_by_number(a, numbers={run_of(a).pk: 30}, reason="sold", stamp=diary.stamp(12))
    diary.check(a, 16, dead="F8-F12")
    undo_leaving(leaving, stamp=diary.stamp(17))
    assert diary.take(AMBER) == (67, 72, 1)
    assert diary.left(AMBER) is None and diary.stock(a) == (67, 5, 0) and diary.is_proved()


def test_08_everything_is_given_away_on_day_4(diary, a):
    # Nobody can say whether these would have taken: no rate, 72 left early. The flat is done.
    let_all_leave([a], goal=Goal("sold", "Friends"), stamp=diary.stamp(6))
    assert diary.take(AMBER) is None and diary.left(AMBER) == (72, {})
    assert standing_moves(a).first().stage == Stage.DISPATCHED


def test_09_everything_is_planted_after_the_record(diary, a):
    # 72 - 6 = 66 took on day 14; on day 20 all 66 go to the bed. One touch takes that back.
    diary.check(a, 16, dead="A1-A6")
    act, number = let_all_leave([a], goal=Goal("planted", "Bed 1"), stamp=diary.stamp(22))
    assert number == 66 and diary.stock(a) == (0, 6, 66) and diary.take(AMBER) == (66, 72, 1)
    undo_act(act, stamp=diary.stamp(22))
    assert diary.stock(a) == (66, 6, 0) and diary.take(AMBER) == (66, 72, 1)
    assert standing_moves(a).first() is None and diary.is_proved()


# --- discarding ---------------------------------------------------------------------------------------


def test_10_a_lid_left_open_costs_the_flat(diary, a):
    # Day 5: discarded as a loss. 0 of 72, final at once. It was the neighbour's flat: taken back, nothing is
    # final.
    discard_flat(a, is_loss=True, reason="Lid left open", stamp=diary.stamp(7))
    assert diary.take(AMBER) == (0, 72, 1)
    undo_discard(a, stamp=diary.stamp(7))
    assert diary.take(AMBER) is None and diary.stock(a) == (72, 0, 0) and diary.is_proved()


def test_11_a_loss_after_some_were_sold_by_number(diary, a):
    # 60 sold by number on day 12, the other 12 dry out on day 13: 60 of 72, and nothing contradicts itself.
    let_leave_by_number(a, numbers={run_of(a).pk: 60}, reason="sold", stamp=diary.stamp(14))
    assert discard_flat(a, is_loss=True, stamp=diary.stamp(15)) == 12
    assert diary.take(AMBER) == (60, 72, 1) and diary.stock(a) == (0, 12, 60)
    assert not a.day_counts.filter(has_disagreement=True).exists()


def test_12_surplus_is_thrown_away_alive(diary, a):
    # Day 10: nobody needs them. All 72 lived until then and count as alive.
    discard_flat(a, is_loss=False, stamp=diary.stamp(12))
    assert diary.take(AMBER) == (72, 72, 1) and diary.left(AMBER) == (0, {10: 72})


# --- checks that are not whole ------------------------------------------------------------------------


def test_13_lunch_comes_in_the_middle_of_a_check(diary, amber, ash, birch):
    # Ash has rows A to C and D1 to D4 (40 cells), Birch the other 32. Day 14, morning: rows A to C, A6 dead.
    # 36 of 72 seen: of Ash's 40 cells 36, of Birch's none. No record.
    b = diary.flat(2, amber, (ash, "A1-D4"), (birch, "D5-F12"))
    diary.check(b, 16, dead="A6", only="A1-C12", hour=11)
    assert diary.take(AMBER) is None and diary.part_seen(AMBER) == {14: (36, 72)}
    # Afternoon: the rest, F1 and F2 dead. The day is complete: 1 + 2 dead, 69 of 72; Ash 39 of 40, Birch 30
    # of 32.
    diary.check(b, 16, dead="F1 F2", only="D1-F12", hour=14)
    assert diary.take(AMBER) == (69, 72, 1)
    assert diary.take("Ash", by="grafter") == (39, 40, 1)
    assert diary.take("Birch", by="grafter") == (30, 32, 1)


def test_14_only_the_dead_are_counted(diary, a):
    # Day 14, by numbers: 50 of 72 dead: 22 of 72.
    diary.count(a, 16, ash=50)
    assert diary.take(AMBER) == (22, 72, 1) and diary.stock(a) == (22, 50, 0)


def test_15_numbers_give_way_to_a_look_at_the_cells(diary, a):
    # By numbers 5 are dead in the morning; at noon every cell is looked at, and 6 are: the cells stand.
    diary.count(a, 16, ash=5)
    diary.check(a, 16, dead="A1-A6", hour=15)
    assert diary.take(AMBER) == (66, 72, 1)


def test_16_dead_by_number_stay_known_when_the_rest_leave(diary, a):
    # Day 10: 6 dead by number, which ones nobody said. Day 12: the other 66 are sold. Nothing is left alive:
    # final at once, 66 of 72.
    diary.count(a, 12, ash=6)
    let_all_leave([a], goal=Goal("sold"), stamp=diary.stamp(14))
    assert diary.take(AMBER) == (66, 72, 1) and diary.stock(a) == (0, 6, 66) and diary.is_proved()


def test_17_a_check_closed_by_accident(diary, a):
    # Closed with 2 dead on day 14: 70 of 72. Reopened: no record. Closed again with a third: 69.
    check = diary.check(a, 16, dead="A1 A2")
    assert diary.take(AMBER) == (70, 72, 1)
    diary.reopen(check, 16)
    assert diary.take(AMBER) is None
    diary.late_tap(check, "A3", "dead", arrives_on=16)
    diary.close(check, 16)
    assert diary.take(AMBER) == (69, 72, 1)


def test_18_a_tablet_comes_home_late(diary, a):
    # Day 14 closed with 2 dead; on day 18 a tablet brings a third tap of that check: 69 of 72.
    check = diary.check(a, 16, dead="A1 A2")
    diary.late_tap(check, "B7", "dead", arrives_on=20)
    assert diary.take(AMBER) == (69, 72, 1) and diary.is_proved()


def test_19_an_early_look_is_no_take(diary, a):
    # Day 7: 4 dead. An early count, 68 of 72, and no take until day 14.
    diary.check(a, 9, dead="A1-A4")
    assert diary.take(AMBER) is None and diary.early(AMBER) == {7: (68, 72)}
    diary.check(a, 16)
    assert diary.take(AMBER) == (68, 72, 1) and diary.early(AMBER) == {}


# --- moving together ----------------------------------------------------------------------------------


@pytest.fixture
def patchy(diary, amber, ash):
    """Three flats of 72; on day 14 dead are 40, 30 and 20: 32 + 42 + 52 = 126 of 216 took."""
    flats = [diary.flat(2, amber, (ash, "A1-F12")) for _ in range(3)]
    for flat, dead in zip(flats, ("A1-D4", "A1-C6", "A1-B8"), strict=True):
        diary.check(flat, 16, dead=dead)
    return flats


def test_20_three_patchy_flats_become_two(diary, patchy, grower):
    # The emptiest (32) goes into the gaps of the fullest (20 free) and then 12 of the other: 0, 54 and 72
    # live.
    act = put_together(patchy, stamp=diary.stamp(18))
    assert [diary.stock(flat)[0] for flat in patchy] == [0, 54, 72]
    assert standing_moves(patchy[0]).first().stage == Stage.DISCARDED
    assert diary.take(AMBER) == (126, 216, 3) and diary.is_proved()
    undo_act(act, stamp=diary.stamp(18))
    assert [diary.stock(flat)[0] for flat in patchy] == [32, 42, 52] and diary.is_proved()


def test_21_what_dies_after_the_move_is_a_later_loss(diary, patchy):
    # Three die in the full flat, in A1 to A3, where moved plants stand: 69 live there, the take stays.
    put_together(patchy, stamp=diary.stamp(18))
    diary.check(patchy[2], 22, dead="A1-A3")
    assert diary.stock(patchy[2]) == (69, 20 + 3, 0)
    assert diary.take(AMBER) == (126, 216, 3) and diary.is_proved()


def test_22_moved_before_the_record(diary, amber, ash):
    # Day 10: 12 plants move from one flat to blanks of another (60 grafted). Day 14: in the first 3 of the 60
    # left are dead: 57 + 12 that left alive = 69 of 72. In the other 2 of its own 60 and one moved plant are
    # dead: the moved one is no graft of that flat: 58 of 60.
    one = diary.flat(2, amber, (ash, "A1-F12"))
    other = diary.flat(2, amber, (ash, "A1-E12"))
    move_cells(one, places=places("A1-A12"), target=other, stamp=diary.stamp(12))
    diary.check(one, 16, dead="B1-B3")
    diary.check(other, 16, dead="A1 A2 F1")
    assert diary.take(AMBER) == (69 + 58, 72 + 60, 2)
    assert diary.stock(other) == (69, 3, 0) and diary.is_proved()


def test_23_into_larger_cells_and_home_again(diary, a):
    # 5 plants move to a flat of their own, and 2 of them back into places that are free: 69 live at home.
    tray = Tray(tray_format=a.tray_format, layout=a.layout)
    large = begin_flat(tray, like=a, stamp=diary.stamp(18))
    move_cells(a, places=places("A1-A5"), target=large, stamp=diary.stamp(18))
    move_cells(large, places=places("A1 A2"), target=a, stamp=diary.stamp(19))
    diary.check(a, 20)
    assert diary.stock(a)[0] == 69 and diary.stock(large)[0] == 3
    assert diary.take(AMBER) == (72, 72, 1) and diary.is_proved()  # 67 here and 5 that left on day 16


def test_24_by_number_into_a_pooled_flat(diary, a):
    # Day 14: 12 dead, 60 took. 50 move to a pooled flat by number, where 4 die: 46 live there, 10 here; take
    # 60.
    diary.check(a, 16, dead="A1-A12")
    tray = Tray(tray_format=a.tray_format, layout=a.layout)
    pool = begin_flat(tray, like=a, is_pooled=True, stamp=diary.stamp(18))
    leaving = move_by_number(a, numbers={run_of(a).pk: 50}, target=pool, stamp=diary.stamp(18))
    diary.count(pool, 22, ash=4)
    assert diary.stock(pool) == (46, 4, 0) and diary.stock(a) == (10, 12, 50)
    assert diary.take(AMBER) == (60, 72, 1) and diary.is_proved()
    # 4 of them are dead there: the move cannot be taken back any more.
    with pytest.raises(ValidationError, match="Only 46"):
        undo_leaving(leaving, stamp=diary.stamp(23))


def test_25_a_moved_plant_is_marked_dead_in_its_old_flat(diary, a):
    # 5 moved on day 16. A tablet that slept says one of them was dead: it stands elsewhere and is not
    # doubled.
    check = diary.check(a, 16, dead="F1")
    tray = Tray(tray_format=a.tray_format, layout=a.layout)
    large = begin_flat(tray, like=a, stamp=diary.stamp(18))
    move_cells(a, places=places("A1-A5"), target=large, stamp=diary.stamp(18))
    diary.late_tap(check, "A1", "dead", arrives_on=20)
    assert diary.stock(a) == (66, 1, 5) and diary.stock(large) == (5, 0, 0)
    # On day 14 itself nothing had moved: there the late tap is a dead plant, 70 of 72.
    assert diary.take(AMBER) == (70, 72, 1) and diary.is_proved()


# --- grafting again -----------------------------------------------------------------------------------


def test_26_the_dead_are_grafted_again(diary, a, birch):
    # Day 14: 5 of 72 dead. Birch grafts their places again on day 15: Ash's take stays 67 of 72. On day 29
    # (14 days later) one of Birch's 5 is dead: 4 of 5; together 71 of 77 on one flat.
    diary.check(a, 16, dead="A1-A5")
    work = Work.of(Run.objects.named().get(pk=run_of(a).pk)).by(birch)
    run = regraft(a, places=places("A1-A5"), session=diary.session, work=work, stamp=diary.stamp(17))
    assert run.grafted_on == date(2026, 3, 17) and diary.stock(a) == (72, 5, 0)
    diary.check(a, 31, dead="A1")
    assert diary.take("Ash", by="grafter") == (67, 72, 1)
    assert diary.take("Birch", by="grafter") == (4, 5, 1)
    assert diary.take(AMBER) == (71, 77, 1) and diary.is_proved()


def test_27_blanks_are_filled_and_it_was_a_mistake(diary, amber, ash):
    # 60 grafted, F1 to F12 blank. 12 more are grafted into them on day 3, and taken back: 60 in the flat.
    flat = diary.flat(2, amber, (ash, "A1-E12"))
    work = Work.of(Run.objects.named().get(pk=run_of(flat).pk))
    run = regraft(flat, places=places("F1-F12"), session=None, work=work, stamp=diary.stamp(5))
    assert diary.stock(flat) == (72, 0, 0)
    undo_regraft(run, stamp=diary.stamp(5))
    assert diary.stock(flat) == (60, 0, 0) and diary.is_proved()


# --- tongue approach ----------------------------------------------------------------------------------


def test_28_tongue_approach_counts_from_severing(diary, ash):
    # Grafted 2 March, severed 12 March: the record day is 26 March. A look on 16 March (3 dead) is early. On
    # 26 March 4 are dead: 32 of 36.
    pairing = diary.pairing("Cress", "Gourd", crop="Melon")
    flat = diary.flat(2, pairing, (ash, "A1-C12"), method="tongue")
    diary.check(flat, 16, dead="A1-A3")
    assert diary.take("Cress on Gourd") is None
    sever(run_of(flat), severed_on=date(2026, 3, 12), stamp=diary.stamp(12))
    assert diary.take("Cress on Gourd") is None
    diary.check(flat, 26, dead="A4")
    assert diary.take("Cress on Gourd") == (32, 36, 1) and diary.is_proved()
