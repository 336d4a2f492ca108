"""What people disagree on, across flats, and settling it in one touch."""

import html
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.formats import date_format

from nursery.actions.counting import recount_flats
from nursery.actions.leaving import let_leave_by_number
from nursery.actions.moving import move_cells
from nursery.actions.stamp import Stamp
from nursery.models import Closing, DayCount, Mark
from tests.factories import make_flat, make_run, make_worker
from tests.views.checking import check_flat

HTMX = {"HX-Request": "true"}


def disputed_flat(places=(5,), **who):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=9))
    check_flat(flat, dict.fromkeys(places, "dead"), days_ago=1, worker=who.get("ana"))
    check_flat(flat, dict.fromkeys(places, "wilting"), worker=who.get("ben"))
    return flat


@pytest.fixture
def flat(farm):
    return disputed_flat(ana=make_worker("Ana"), ben=make_worker("Ben"))


def words(text):
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", text).split()))


def answer_form(text):
    action = re.search(r'action="(/[^"]+/settle/[^"]+)"', text)[1]
    return action, {"uuids": re.search(r'name="uuids" value="([^"]+)"', text)[1]}


@pytest.mark.parametrize("page", ["/disagreements", "flat"])
def test_who_says_what_and_a_button_for_each(crew, flat, page):
    text = crew.get(flat.get_absolute_url() if page == "flat" else page).content.decode()
    said = words(text)
    assert "People disagree on A5. It counts as dead until it is settled." in said
    assert "Ana: dead" in said and "Ben: wilting" in said
    assert "Dead, as Ana says" in said and "Wilting, as Ben says" in said
    assert 'class="small-flat"' in text and 'class="small-plant small-asked"' in text


def test_one_touch_settles_it(crew, flat, bob):
    action, data = answer_form(crew.get("/disagreements").content.decode())
    answer = crew.post(action, {**data, "state": "wilting", "back": "list"}, follow=True)
    assert "A5 settled: wilting." in words(answer.content.decode())
    correction = Mark.objects.get(kind="correction")
    assert (correction.sent_by, correction.by_worker, correction.state) == (bob, bob.worker, "wilting")
    assert "Nobody disagrees" in crew.get("/disagreements").content.decode()
    assert not DayCount.objects.filter(has_disagreement=True).exists()


def test_htmx_gets_the_answer_in_its_place(tablet, flat):
    action, data = answer_form(tablet.get(flat.get_absolute_url()).content.decode())
    answer = tablet.post(action, {**data, "state": "dead"}, headers=HTMX)
    text = answer.content.decode()
    assert answer.status_code == 200 and "A5 settled: dead." in text and "<h1" not in text


def test_what_was_settled_meanwhile_and_what_nobody_said_is_refused(crew, flat):
    action, data = answer_form(crew.get("/disagreements").content.decode())
    assert crew.post(action, {**data, "state": "firm"}, headers=HTMX).status_code == 422
    assert crew.post(action, {"state": "dead"}, headers=HTMX).status_code == 422
    crew.post(action, {**data, "state": "dead"})
    answer = crew.post(action, {**data, "state": "wilting"}, headers=HTMX)
    assert answer.status_code == 422 and 'data-kind="error"' in answer.content.decode()
    assert Mark.objects.filter(kind="correction").count() == 1


@pytest.mark.parametrize("cell", ["73", "5.2", "x", "99999"])
def test_a_cell_that_is_none_is_not_found(crew, flat, cell):
    assert crew.post(f"/{flat.code}/settle/{cell}", {"state": "dead"}).status_code == 404


def test_it_is_posted_by_somebody(crew, stranger, flat):
    assert crew.get(f"/{flat.code}/settle/5").status_code == 405
    assert stranger.post(f"/{flat.code}/settle/5").status_code == 302
    assert stranger.get("/disagreements").status_code == 302


@pytest.fixture
def doubted(farm):
    """A flat that Ben saw and closed, while Ana's tablet, without network, had marked A5 dead."""
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=9))
    check_flat(flat, {}, worker=make_worker("Ben"))
    check_flat(flat, {5: "dead"}, days_ago=1, worker=make_worker("Ana"), cause="rot", closes=False)
    return flat


@pytest.mark.parametrize("page", ["/disagreements", "flat"])
def test_who_saw_it_alive_and_when(crew, doubted, page):
    text = crew.get(doubted.get_absolute_url() if page == "flat" else page).content.decode()
    said = words(text)
    assert "People disagree on A5. It counts as dead until it is settled." in said
    closed_at = date_format(timezone.localtime(Closing.objects.get().at), "j F, H:i")
    assert "Ana: dead, " in said and f"Ben: seen alive, {closed_at}" in said
    assert "Dead, as Ana says" in said and "Alive, as Ben says" in said


@pytest.mark.parametrize(("state", "told"), [("dead", "A5 settled: dead."), ("firm", "A5 settled: alive.")])
def test_one_touch_settles_what_a_closing_said(crew, doubted, state, told):
    action, data = answer_form(crew.get("/disagreements").content.decode())
    answer = crew.post(action, {**data, "state": state, "back": "list"}, follow=True)
    assert told in words(answer.content.decode())
    correction = Mark.objects.get(kind="correction")
    assert (correction.state, correction.cause) == (state, "rot" if state == "dead" else "")
    assert "Nobody disagrees" in crew.get("/disagreements").content.decode()
    assert not DayCount.objects.filter(has_disagreement=True).exists()


def test_two_who_saw_it_alive_are_both_named_and_one_that_closed_twice_once(crew, doubted):
    ben = Closing.objects.get()
    Closing.objects.create(
        check_ref=ben.check_ref, kind="close", tells_known=True, by_worker=ben.by_worker, at=ben.at,
        raw_at=ben.at, received_at=ben.at,
    )  # fmt: skip
    check_flat(doubted, {}, worker=make_worker("Wren"))
    Closing.objects.update(known_marks=[])
    recount_flats([doubted.pk])
    said = words(crew.get("/disagreements").content.decode())
    assert said.count("Ben: seen alive") == 1 and "Alive, as Ben and Wren says" in said


def test_a_moved_plant_marked_in_its_old_place_says_what_to_do(crew, farm):
    flat, target = make_flat(), make_flat()
    for each in (flat, target):
        make_run(each, places=range(1, 10), grafted_on=timezone.localdate() - timedelta(days=9))
    moved_at = timezone.now() - timedelta(days=2)
    move_cells(flat, places=[1], target=target, to_places=[10], stamp=Stamp.of(moved_at))
    check_flat(flat, {1: "dead"})
    text = crew.get("/disagreements").content.decode()
    said = words(text)
    assert "A1 was moved, and is marked here all the same." in said and "mark it there" in said
    assert target.get_absolute_url() in text
    action, data = answer_form(text)
    crew.post(action, {**data, "state": "gone"})
    assert "Nobody disagrees" in crew.get("/disagreements").content.decode()


def test_more_that_left_by_number_than_lived(crew, farm):
    flat = make_flat()
    run = make_run(flat, places=range(1, 11), grafted_on=timezone.localdate() - timedelta(days=9))
    stamp = Stamp.of(timezone.now() - timedelta(days=1))
    let_leave_by_number(flat, numbers={run.pk: 8}, reason="sold", stamp=stamp)
    check_flat(flat, dict.fromkeys(range(1, 6), "dead"))
    assert DayCount.objects.filter(has_disagreement=True).exists()
    said = words(crew.get("/disagreements").content.decode())
    assert "More of run 1 left by number than lived. Of 10 the cells show more dead" in said
    assert "Sold on" in said and "To the leaving" in said


def test_as_many_queries_for_many_flats_as_for_one(crew, farm):
    counts = []
    for number in (1, 8):
        for _ in range(number):
            flat = disputed_flat(places=(3, 4))
            check_flat(flat, {5: "dead"}, days_ago=3, closes=False)
        with CaptureQueriesContext(connection) as captured:
            text = crew.get("/disagreements").content.decode()
        counts.append(len(captured))
        assert text.count("People disagree on") == 3 * sum((1, 8)[: len(counts)])
    assert counts[0] == counts[1] <= 30
