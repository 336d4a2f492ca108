"""Seen alive, told by closing a check, against the death that another tablet marked."""

from datetime import timedelta
from itertools import permutations
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.batch import ClosingIn
from nursery.actions.leaving import discard_flat, let_leave
from nursery.actions.mending import give_check, unvoid_check, void_check
from nursery.actions.recount import differences
from nursery.actions.settling import flat_disputes, settle
from nursery.actions.stamp import Stamp
from nursery.models import Cell, Check, Closing, DayCount, Mark
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send
from tests.actions.test_mending import states
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db
DAY_7, DAY_10 = DAY_14 - timedelta(days=7), DAY_14 - timedelta(days=4)
STAMP = Stamp.of(DAY_14 + timedelta(days=1))
TOLD = ({5: "dead"}, [5])  # what there is where A5 counts as dead and people disagree on it


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def names(parts):
    return tuple(str(part.uuid) for part in parts)


def look(flat, at=DAY_14, *, known=(), **fields):
    """Somebody looks at the whole flat, touches nothing and closes. Returns check and closing."""
    check = check_in(flat, at)
    closing = close(check, known=names(known), **fields)
    send(checks=[check], closings=[closing], received_at=at)
    return check, closing


def death(flat, at=DAY_14, *, replaces=()):
    """A tablet marks A5 dead in a check that it does not close. Returns the mark."""
    check = check_in(flat, at)
    mark = mark_in(check, 5, replaces=names(replaces))
    send(checks=[check], marks=[mark], received_at=DAY_14)
    return mark


def flagged():
    """The days on which a count is in disagreement."""
    days = DayCount.objects.filter(has_disagreement=True).order_by("day").values_list("day", flat=True)
    return [day.day for day in days]


def is_proved():
    return list(differences()) == []


def answer(flat, state, dispute=None):
    [found] = [dispute] if dispute else flat_disputes(flat)
    cell = Cell.objects.get(pk=found.cell.id)
    return settle(cell, uuids=found.open_uuids, state=state, reason="looked again", stamp=STAMP)


def test_two_tablets_without_network_in_any_order(flat):
    # Ana marks A5 dead; Ben, who has not heard of it, sees the flat and closes. Then each finds network.
    one, other = check_in(flat), check_in(flat, DAY_14 + timedelta(minutes=5))
    parts = [
        {"checks": [one], "marks": [mark_in(one, 5)]},
        {"checks": [one], "closings": [close(one)]},
        {"checks": [other], "closings": [close(other, known=())]},
    ]
    for order in permutations(parts):
        for model in (Mark, Closing, Check, DayCount):
            model.objects.all().delete()
        for part in [*order, order[0]]:
            receipt = send(**part)
        assert states(flat) == TOLD
        assert receipt.flats[flat.code].disagreements == 1
        assert receipt.flats[flat.code].dead == 1
        assert flagged() == [16] and is_proved()


def test_who_did_not_tell_what_was_known_says_nothing(flat):
    check = check_in(flat)
    send(checks=[check], closings=[close(check)])
    death(flat)
    assert states(flat) == ({5: "dead"}, []) and is_proved()


def test_who_knew_of_the_death_says_nothing(flat):
    mark = death(flat)
    look(flat, known=[mark])
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()


def test_whoever_marks_it_dead_knowing_of_the_closing_is_the_later_one(flat):
    _check, closing = look(flat)
    death(flat, replaces=[closing])
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()


def test_both_called_it_dead_and_a_third_knew_of_one(flat):
    mark = death(flat)
    look(flat, known=[mark])
    death(flat)
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()


def test_what_was_alive_on_one_day_may_be_dead_on_the_next(flat):
    look(flat, DAY_10)
    death(flat, DAY_14)
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()


def test_a_death_of_an_earlier_day_that_comes_late(flat):
    # dead on day 7, says a tablet that comes home on day 14; on day 10 somebody saw the flat without knowing
    look(flat, DAY_10)
    death(flat, DAY_7)
    assert states(flat) == TOLD
    assert flagged() == [12]  # on day 7, 9 March, nobody was against it
    assert is_proved()


def test_a_part_check_speaks_of_its_places_only(flat):
    check = check_in(flat)
    part = {"seen": "part", "known": ()}
    send(checks=[check], closings=[close(check, seen_places=(1, 2, 3), **part)])
    mark = death(flat)
    assert states(flat) == ({5: "dead"}, [])
    send(closings=[close(check, seen_places=(4, 5), **part)])
    assert states(flat) == TOLD and flagged() == [16] and is_proved()
    send(closings=[close(check, seen_places=(9,), **{**part, "known": names([mark])})])  # one of them knew
    assert states(flat) == ({5: "dead"}, []) and is_proved()


def test_opened_again_it_says_nothing(flat, alice):
    check, closing = look(flat)
    death(flat)
    reopen = ClosingIn(uuid4(), check.uuid, DAY_14, kind="reopen", replaces=names([closing]))
    send(closings=[reopen], account=alice)
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()
    again = close(check)  # without telling what was known
    send(closings=[again])
    assert states(flat) == ({5: "dead"}, []) and is_proved()
    send(closings=[close(check, known=())])
    assert states(flat) == TOLD and is_proved()


def test_what_a_closing_knew_that_was_taken_back_counts_for_nothing(flat, alice):
    mark = death(flat)
    check, closing = look(flat, known=[mark])
    reopen = ClosingIn(uuid4(), check.uuid, DAY_14, kind="reopen", replaces=names([closing]))
    send(closings=[reopen, close(check, known=())], account=alice)
    assert states(flat) == TOLD and is_proved()


def test_a_void_check_says_nothing_until_it_is_put_back(flat):
    look(flat)
    death(flat)
    check = Check.objects.get(is_closed=True)
    void_check(check, reason="the lamp was off", stamp=STAMP)
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()
    check.refresh_from_db()
    unvoid_check(check, reason="it was on", stamp=STAMP)
    assert states(flat) == TOLD and is_proved()


def test_a_given_check_speaks_of_its_new_flat(flat):
    looked_at = make_flat()
    make_run(looked_at)
    for each in (flat, looked_at):
        death(each)
    look(flat)
    assert (states(flat), states(looked_at)) == (TOLD, ({5: "dead"}, []))
    given = Check.objects.get(is_closed=True)
    give_check(given, to_flat=looked_at, reason="the wrong label", stamp=STAMP)
    assert (states(flat), states(looked_at)) == (({5: "dead"}, []), TOLD)
    assert [dispute.flat_id for dispute in flat_disputes(looked_at)] == [looked_at.pk] and is_proved()


def test_a_given_death_is_not_said_again_over_whoever_saw_it_alive(flat):
    # A tablet marked A5 dead under the wrong label; on the right flat it wilted before, and one saw it alive.
    looked_at = make_flat()
    make_run(looked_at)
    before = check_in(looked_at, DAY_7)
    wilting = mark_in(before, 5, "wilting")
    send(checks=[before], marks=[wilting], closings=[close(before)], received_at=DAY_7)
    look(looked_at, DAY_14, known=[wilting])
    death(flat, DAY_14)
    check = Check.objects.get(flat=flat)
    give_check(check, to_flat=looked_at, reason="the wrong label", stamp=STAMP)
    assert Mark.objects.filter(kind="correction").count() == 1  # of dead and wilting dead was seen last
    assert states(looked_at) == TOLD and is_proved()


def test_a_leaving_saw_only_what_left_and_a_discarding_says_nothing_of_the_rest(flat):
    let_leave(flat, places=[1, 2], reason="sold", stamp=Stamp.of(DAY_10))
    death(flat, DAY_7)
    let_leave(flat, places=[3], reason="sold", stamp=Stamp.of(DAY_10))
    assert states(flat)[1] == []
    look(flat, DAY_14, known=Mark.objects.all())
    discard_flat(flat, is_loss=True, stamp=Stamp.of(DAY_14), reason="lid left open")
    assert states(flat)[1] == [] and flagged() == [] and is_proved()
    death(flat, DAY_14)  # one that was in the bag already
    assert states(flat)[1] == [] and is_proved()


def test_a_look_at_a_second_graft_says_nothing_of_the_first(flat):
    death(flat, DAY_7)
    make_run(flat, places=[5], grafted_on=DAY_10.date(), is_regraft=True)
    look(flat, DAY_14)
    assert flagged() == [] and flat_disputes(flat) == [] and is_proved()
    look(flat, DAY_7)
    assert flagged() == [9, 16] and is_proved()  # until somebody settles it


@pytest.mark.parametrize(("state", "told"), [("dead", {5: "dead"}), ("firm", {5: "firm"})])
def test_settled_as_one_of_them_says(flat, state, told):
    mark = death(flat, DAY_10)
    check, closing = look(flat, DAY_14)
    correction = answer(flat, state)
    assert set(correction.replaces) == {str(mark.uuid), str(closing.uuid)}
    assert (correction.state, correction.check_ref.uuid, correction.cause) == (state, check.uuid, "")
    assert states(flat) == (told, []) and flat_disputes(flat) == [] and flagged() == []
    last = DayCount.objects.get(day=DAY_14.date())
    assert (last.dead, last.alive) == ((1, 71) if state == "dead" else (0, 72))
    assert is_proved()


@pytest.mark.parametrize("state", ["dead", "firm"])
def test_two_who_saw_it_alive_on_two_days_are_answered_at_once(flat, state):
    death(flat, DAY_7)
    look(flat, DAY_10)
    look(flat, DAY_14)
    [dispute] = flat_disputes(flat)
    assert (dispute.day, len(dispute.seen_alive), flagged()) == (DAY_10.date(), 2, [12, 16])
    answer(flat, state)
    assert states(flat) == ({5: state}, []) and flagged() == [] and is_proved()


def test_settling_knows_the_closings_that_agreed(flat):
    # On day 10 one saw it alive; on day 14 another knew it was dead. Settled as dead, nobody is against it.
    mark = death(flat, DAY_7)
    look(flat, DAY_10)
    look(flat, DAY_14, known=[mark])
    answer(flat, "dead")
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()


def test_settling_on_a_day_before_knows_the_closings_since(flat):
    # Firm on day 10, seen so on day 12; an undo of day 14 says dead. Settled as dead, in the look of day 10.
    before = check_in(flat, DAY_10)
    firm = mark_in(before, 5, "firm")
    send(checks=[before], marks=[firm], closings=[close(before)], received_at=DAY_10)
    look(flat, DAY_14 - timedelta(days=2), known=[firm])
    after = check_in(flat)
    send(checks=[after], marks=[mark_in(after, 5, kind="undo")])
    assert states(flat) == TOLD
    assert answer(flat, "dead").check_ref.uuid == before.uuid
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()


def test_settled_by_a_mark_of_a_tablet_that_knew_of_both(flat):
    mark = death(flat)
    _check, closing = look(flat)
    for state in ("wilting", "dead"):
        check = check_in(flat)
        own = mark_in(check, 5, state, replaces=names([mark, closing]))
        send(checks=[check], marks=[own])
        assert states(flat) == ({5: state}, []) and flagged() == [] and is_proved()
        mark = own


def test_what_nobody_says_and_what_changed_meanwhile_is_refused(flat):
    death(flat)
    look(flat)
    [dispute] = flat_disputes(flat)
    for state in ("wilting", "gone", "unmarked"):
        with pytest.raises(ValidationError, match="Nobody said so"):
            answer(flat, state, dispute)
    look(flat)  # one more who saw it alive
    with pytest.raises(ValidationError):
        answer(flat, "dead", dispute)
    assert not Mark.objects.filter(kind="correction").exists()


def test_what_was_settled_for_dead_and_is_marked_again_stays_settled(flat):
    death(flat)
    look(flat)
    settled = answer(flat, "dead")
    check = check_in(flat)
    send(checks=[check], marks=[mark_in(check, 5, cause="rot", replaces=names([settled]))])
    assert states(flat) == ({5: "dead"}, []) and flagged() == [] and is_proved()


def queries_of(*, checks=(), marks=()):
    with CaptureQueriesContext(connection) as captured:
        send(checks=checks, marks=marks)
    return [query["sql"] for query in captured if "known_marks" in query["sql"]]


def test_what_closings_knew_is_read_only_where_they_may_be_against_a_death(flat):
    look(flat, DAY_7)
    check = check_in(flat, DAY_14)
    assert queries_of(checks=[check], marks=[mark_in(check, place) for place in range(1, 41)]) == []
    other = check_in(flat, DAY_7)
    assert len(queries_of(checks=[other], marks=[mark_in(other, place) for place in range(41, 72)])) == 1
