"""Two touches: what is chosen in the address, where by a card."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from nursery.actions.leaving import discard_flat
from nursery.actions.moves import move_place
from nursery.models import Place, Run, StageMove
from tests.factories import make_flat, make_place, make_session
from tests.yard import grafted, insides, make_yard, put, stamp, where

MOVERS = [("grower", 302), ("crew", 302), ("tablet", 302), ("stranger", 302)]


@pytest.fixture
def yard(farm):
    return make_yard()


def codes(flats):
    return [flat.code for flat in flats]


def post(client, to, **named):
    return client.post(reverse("move"), {"to": getattr(to, "code", to), **named})


def text_of(answer):
    return answer.content.decode()


def test_a_card_moves_the_flats_and_offers_to_take_it_back(crew, yard):
    flats = grafted(3, place=yard["Bench"])
    page = text_of(crew.get(reverse("move"), {"flat": codes(flats)}))
    assert "Move 3 flats" in page
    assert f'value="{yard["Chamber"].code}"' in page
    answer = crew.post(reverse("move"), {"flat": codes(flats), "to": yard["Chamber"].code}, follow=True)
    assert where(flats) == [("Chamber", "chamber")] * 3
    act = StageMove.objects.filter(act__isnull=False).first().act
    assert "3 flats moved to Chamber." in text_of(answer)
    assert f'action="{reverse("move-undo", args=[act])}"' in text_of(answer)


def test_the_undo_of_the_answer_carries_its_token(farm, bob, yard):
    client = Client(enforce_csrf_checks=True)
    client.force_login(bob)
    flats = grafted(1, place=yard["Bench"])
    page = client.get(reverse("move"), {"flat": codes(flats)})
    token = page.context["csrf_token"]
    data = {"flat": codes(flats), "to": yard["Chamber"].code, "next": "/places"}
    data["csrfmiddlewaretoken"] = str(token)
    answer = text_of(client.post(reverse("move"), data, follow=True))
    undo = answer[answer.index("/undo") :]
    assert "csrfmiddlewaretoken" in undo[: undo.index("</form>")]


@pytest.mark.parametrize(("who", "status"), MOVERS)
def test_crew_moves_and_nobody_without_a_login(request, yard, who, status):
    client = request.getfixturevalue(who)
    flats = grafted(1, place=yard["Bench"])
    answer = post(client, yard["Chamber"], flat=codes(flats))
    assert answer.status_code == status
    assert where(flats) == [("Bench", "bench") if who == "stranger" else ("Chamber", "chamber")]


def test_other_methods_are_refused(crew, yard):
    assert crew.put(reverse("move")).status_code == 405
    assert crew.get(reverse("move-undo", args=[make_session().key])).status_code == 405


@pytest.mark.parametrize(
    "wrong", [{}, {"to": ""}, {"to": "P000000"}, {"to": "Chamber", "stage": "nowhere"}, {"to": "none"}]
)
def test_what_cannot_be_read_leaves_everything_where_it_is(crew, yard, wrong):
    flats = grafted(1, place=yard["Bench"])
    wrong = {name: yard[value].code if value in yard else value for name, value in wrong.items()}
    answer = crew.post(reverse("move"), {"flat": codes(flats), **wrong})
    assert answer.status_code == 422
    assert 'role="alert"' in text_of(answer)
    assert where(flats) == [("Bench", "bench")]


@pytest.mark.parametrize("named", [{"flat": "F3K7QN3"}, {"place": "nothing"}, {"session": "nothing"}])
def test_what_is_not_there_is_not_found(crew, yard, named):
    assert crew.get(reverse("move"), named).status_code == 404
    assert post(crew, yard["Chamber"], **named).status_code == 404


def test_nothing_chosen_says_where_to_choose(crew, yard):
    answer = crew.get(reverse("move"))
    assert answer.status_code == 200
    assert "Choose flats" in text_of(answer)


def test_a_stage_is_one_pill_away(crew, yard):
    flats = grafted(1, place=yard["Bench"])
    post(crew, yard["Hall"], flat=codes(flats), stage="growing_on")
    assert where(flats) == [("Hall", "growing_on")]


def test_too_many_are_asked_for_once_and_named(crew, yard):
    flats = grafted(8, place=yard["Bench"])
    answer = post(crew, yard["Bay"], flat=codes(flats))
    assert answer.status_code == 422
    assert "would hold 8: 2 too many" in text_of(answer)
    assert where(flats) == [("Bench", "bench")] * 8
    answer = post(crew, yard["Chamber"], flat=codes(flats[:1]), asked=yard["Bay"].code)
    assert answer.status_code == 302  # another card: that one has room
    answer = post(crew, yard["Bay"], flat=codes(flats), asked=yard["Bay"].code)
    assert answer.status_code == 302
    assert where(flats) == [("Bay", "growing_on")] * 8
    assert all(flat.moves.latest("at", "pk").is_over_capacity for flat in flats)


def test_what_fits_is_not_asked_for(crew, yard):
    assert post(crew, yard["Bay"], flat=codes(grafted(6))).status_code == 302


def test_a_trolley_goes_with_what_is_on_it(crew, yard):
    put(flats := grafted(2), yard["Trolley"])
    answer = crew.post(
        reverse("move"), {"trolley": yard["Trolley"].code, "to": yard["Chamber"].code}, follow=True
    )
    assert "Trolley moved to Chamber." in text_of(answer)
    assert insides()["Trolley"] == "Chamber"
    assert where(flats) == [("Trolley", "chamber")] * 2
    post(crew, "none", trolley=yard["Trolley"].code)
    assert insides()["Trolley"] is None


def test_a_trolley_is_not_offered_itself_nor_what_is_on_it(crew, yard):
    move_place(yard["Small trolley"], into=yard["Trolley"], stamp=stamp(1))
    page = text_of(crew.get(reverse("move"), {"trolley": yard["Trolley"].code}))
    offered = {name for name, place in yard.items() if f'value="{place.code}"' in page.split("<fieldset>")[1]}
    assert offered == {"Hall", "Bench", "Chamber", "Bay"}
    answer = post(crew, yard["Small trolley"], trolley=yard["Trolley"].code)
    assert answer.status_code == 422
    assert "stands in" in text_of(answer)
    assert insides()["Trolley"] == "Hall"


def test_the_whole_content_of_a_place(crew, yard):
    flats = grafted(3, place=yard["Bench"])
    page = text_of(crew.get(reverse("move"), {"place": yard["Bench"].code}))
    assert "Move 3 flats" in page and "all that stands in Bench" in page
    post(crew, yard["Chamber"], place=yard["Bench"].code)
    assert where(flats) == [("Chamber", "chamber")] * 3


def test_a_session_moves_what_is_still_at_the_bench(crew, yard):
    session = make_session()
    flats = grafted(3, session=session, place=yard["Bench"])
    put(flats[:1], yard["Chamber"])
    assert "Move 2 flats" in text_of(crew.get(reverse("move"), {"session": session.key}))
    answer = post(crew, yard["Bay"], session=session.key)
    assert answer.url == reverse("bench-session", args=[session.key])
    assert where(flats) == [("Chamber", "chamber"), ("Bay", "growing_on"), ("Bay", "growing_on")]
    whole = text_of(crew.get(reverse("move"), {"session": session.key, "whole": 1}))
    assert "Move 3 flats" in whole
    post(crew, yard["Hall"], session=session.key, whole=1)
    assert where(flats) == [("Hall", "acclimation")] * 3


def test_what_stays_out_is_named_before_and_after(crew, yard):
    stays, left, in_hand = grafted(3, place=yard["Bench"])
    discard_flat(left, is_loss=False, stamp=stamp(1))
    Run.objects.filter(flat=in_hand).update(started_at=stamp().at, finished_at=None)
    named = {"flat": codes([stays, left, in_hand])}
    before = text_of(crew.get(reverse("move"), named))
    after = text_of(crew.post(reverse("move"), {**named, "to": yard["Chamber"].code}, follow=True))
    for words in ("Discarded or dispatched, left out", "Still being grafted, left out"):
        assert words in before and words in after
    assert where([stays, in_hand]) == [("Chamber", "chamber"), ("Bench", "bench")]


def test_comes_back_to_where_it_was_asked_and_nowhere_else(crew, yard):
    flats = grafted(3)
    assert post(crew, yard["Bay"], flat=codes(flats[:1])).url == f"/{flats[0].code}"
    assert (
        post(crew, yard["Bay"], flat=codes(flats[1:]), next="/flats?stage=bench").url == "/flats?stage=bench"
    )
    assert post(crew, yard["Hall"], flat=codes(flats[1:]), next="https://elsewhere.test/").url == "/flats"


def test_the_places_moved_to_last_come_first(crew, yard):
    put(grafted(1), yard["Bay"])
    put(grafted(1), yard["Chamber"], hours=2)
    page = text_of(crew.get(reverse("move"), {"flat": codes(grafted(1, place=yard["Bench"]))}))
    cards = [page.index(f'value="{yard[name].code}"') for name in ("Chamber", "Bay", "Hall")]
    assert cards == sorted(cards)
    assert "Moved to last" in page
    assert "39 of 40 free" in page


def test_undo_puts_back_and_says_so(crew, yard):
    flats = grafted(2, place=yard["Bench"])
    act = put(flats, yard["Chamber"])
    address = reverse("move-undo", args=[act])
    answer = crew.post(address, headers={"Referer": f"http://testserver/{yard['Chamber'].code}"}, follow=True)
    assert answer.redirect_chain == [(f"/{yard['Chamber'].code}", 302)]
    assert "Taken back" in text_of(answer)
    assert where(flats) == [("Bench", "bench")] * 2
    assert "taken back already" in text_of(crew.post(address, follow=True))


@pytest.mark.parametrize(
    ("who", "is_undone"), [("grower", True), ("crew", True), ("tablet", True), ("stranger", False)]
)
def test_who_takes_back(request, yard, who, is_undone):
    flats = grafted(1, place=yard["Bench"])
    act = put(flats, yard["Chamber"])
    assert request.getfixturevalue(who).post(reverse("move-undo", args=[act])).status_code == 302
    assert (where(flats) == [("Bench", "bench")]) == is_undone


def test_an_act_that_moved_nothing_is_not_found(crew, yard):
    flat = grafted(1)[0]
    discard_flat(flat, is_loss=False, stamp=stamp(1))
    for act in (make_session().key, flat.moves.get(stage="discarded").act):
        assert crew.post(reverse("move-undo", args=[act])).status_code == 404


def test_what_was_moved_since_stays(crew, yard):
    flats = grafted(1, place=yard["Bench"])
    act = put(flats, yard["Chamber"])
    put(flats, yard["Bay"], hours=2)
    assert "moved again since" in text_of(crew.post(reverse("move-undo", args=[act]), follow=True))
    assert where(flats) == [("Bay", "growing_on")]


def queries(client, flats):
    with CaptureQueriesContext(connection) as captured:
        client.get(reverse("move"), {"flat": codes(flats)})
    return len(captured)


def test_as_many_queries_for_40_flats_and_60_places_as_for_few(crew, yard):
    few = queries(crew, grafted(2, place=yard["Bench"]))
    flats = grafted(40, place=yard["Bench"])
    chamber = Place.objects.get(name="Chamber")
    for number in range(60):
        make_place(f"Trolley {number}", kind="trolley", stands_in=chamber, capacity_flats=20)
    put(flats[:20], Place.objects.get(name="Trolley 7"))
    assert queries(crew, flats) == few
    assert queries(crew, [make_flat()]) <= few
