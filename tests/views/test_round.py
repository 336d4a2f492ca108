"""A round: which flats are on it, in which order, and what the page hands to its script."""

import json
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.leaving import let_leave
from nursery.actions.moving import move_by_number
from nursery.actions.stamp import Stamp
from nursery.models import Place, StageMove
from nursery.views import rounds
from tests.factories import make_flat, make_pairing, make_place, make_run, make_session
from tests.views.checking import check_flat

# Not made anew: a test whose name differs from process to process cannot be shared out among them.
NO_SESSION = "5f0d6c1e-2b7a-4c3e-9d41-7a8e3f6b9c20"


def put(flat, place=None, stage="growing_on"):
    now = timezone.now()
    StageMove.objects.create(flat=flat, stage=stage, place=place, at=now, raw_at=now, received_at=now)


def grafted(days_ago=8, *, place=None, places=range(1, 5), **fields):
    run = make_run(places=places, grafted_on=timezone.localdate() - timedelta(days=days_ago), **fields)
    if place:
        put(run.flat, place)
    return run.flat


def page(client, query="", status=200):
    answer = client.get(f"/round{query}")
    assert answer.status_code == status
    return answer.content.decode()


def data(client, query=""):
    found = re.search(r'<script id="round-data" type="application/json">(.*?)</script>', page(client, query))
    return json.loads(found[1])


def codes(client, query=""):
    return data(client, query)["codes"]


def code_list(flats):
    return [flat.code for flat in flats]


def words(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_takes_what_is_due_today_and_nothing_else(crew):
    early, record, young = grafted(8), grafted(15), grafted(5)
    seen = grafted(8)
    check_flat(seen, {})
    left = grafted(9)
    put(left, stage="dispatched")
    told = data(crew)
    assert sorted(told["codes"]) == sorted(code_list([early, record]))
    assert told["title"] == "Due today" and young.code not in told["codes"]
    assert (told["api"], told["device"]) == ("/api/flats", "/api/device")
    text = words(page(crew))
    assert "Day 8: an early look" in text and "Day 15: the check that makes the record" in text
    assert "Start the round: 2 flats" in text


def test_a_flat_half_seen_today_is_on_the_round_whatever_its_day(crew, bob):
    half, begun = grafted(3), grafted(8)
    check_flat(half, {}, seen=[1, 2], worker=bob.worker)
    check = check_flat(begun, {1: "dead"}, closes=False, worker=bob.worker)
    html = page(crew)
    assert set(codes(crew)) == {half.code, begun.code}
    assert "Day 3. Half checked today : 2 of 4 seen, Bob at" in words(html)
    assert f"/{begun.code}/check?goes_on={check.uuid}" in html and "1 of 4 seen, Bob since" in words(html)


def test_of_a_batch_counted_by_a_sample_only_the_sample_is_on_it(crew):
    pairing, session = make_pairing(), make_session()
    runs = [grafted(7, pairing=pairing, session=session).runs.get() for _ in range(20)]
    assert len(codes(crew)) == 20
    crew.post(f"/sample/{session.key}/{pairing.key}")
    drawn = set(codes(crew))
    home = set(re.findall(r'href="/(F\w{6})/check"', crew.get("/").content.decode()))
    assert len(drawn) == 6 and drawn == home
    # Who asks for the whole session gets it.
    assert len(codes(crew, f"?session={runs[0].session.key}")) == 20
    assert len(codes(crew, f"?session={runs[0].session.key}&due=on")) == 6


@pytest.fixture
def yard(farm):
    """Bay 2 comes first on the walk, a bench in the hall stands between the hall and Bay 1."""
    hall = make_place("Hall", kind="room", walk_order=5)
    return {
        "hall": hall,
        "bay1": make_place("Bay 1", kind="bay", walk_order=9),
        "bay2": make_place("Bay 2", kind="bay", walk_order=1),
        "bench": make_place("Bench", stands_in=hall, walk_order=0),
    }


def test_goes_in_the_order_of_the_walk(crew, yard):
    nowhere = grafted()
    bay1, bench, hall = (grafted(place=yard[name]) for name in ("bay1", "bench", "hall"))
    same_day = sorted((grafted(8, place=yard["bay2"]) for _ in range(3)), key=lambda flat: flat.code)
    old = same_day.pop()  # its code is the last: the day of grafting goes before the code
    old.runs.update(grafted_on=timezone.localdate() - timedelta(days=9))
    assert codes(crew) == code_list([old, *same_day, hall, bench, bay1, nowhere])
    found = re.findall(r'<th scope="rowgroup"[^>]*>(.*?)</th>', page(crew))
    assert [words(one) for one in found] == [
        "Bay 2 3 flats", "Hall 1 flat", "Bench in Hall 1 flat", "Bay 1 1 flat", "Nowhere noted 1 flat",
    ]  # fmt: skip


def test_walks_through_places_that_stand_in_a_circle(crew, yard):
    flat = grafted(place=yard["bench"])
    Place.objects.filter(pk=yard["hall"].pk).update(stands_in=yard["bench"])
    assert codes(crew) == [flat.code]
    assert f'<option value="{yard["bench"].code}">' in page(crew)


def test_a_place_takes_all_that_stands_in_it_due_or_not(crew, yard):
    young, due = grafted(2, place=yard["bench"]), grafted(8, place=yard["hall"])
    grafted(8, place=yard["bay1"])
    told = data(crew, f"?place={yard['hall'].code}")
    assert told["codes"] == code_list([due, young]) and told["title"] == "Hall"
    told = data(crew, f"?place={yard['hall'].code}&due=on")
    assert told["codes"] == [due.code] and told["title"] == "Due today, Hall"


def test_session_and_stage_narrow_it_alone_and_together(crew, yard):
    session = make_session(place=yard["bench"])
    one, other = grafted(2, session=session, place=yard["bay1"]), grafted(2, session=session)
    put(other, stage="chamber")
    third = grafted(2, place=yard["bay2"])
    day = f"{timezone.localtime(session.started_at):%-d %B}"
    told = data(crew, f"?session={session.key}")
    assert set(told["codes"]) == {one.code, other.code} and told["title"] == f"session of {day}, Bench"
    told = data(crew, "?stage=growing_on")
    assert told["codes"] == code_list([third, one]) and told["title"] == "Growing on"
    told = data(crew, f"?stage=growing_on&session={session.key}")
    assert told["codes"] == [one.code] and told["title"] == f"session of {day}, Bench, Growing on"


def test_each_part_of_what_was_chosen_can_be_left_out(crew, yard):
    html = page(crew, f"?place={yard['hall'].code}&stage=chamber&due=on&page=3")
    pills = re.search(r'<nav class="pills".*?</nav>', html, re.S)[0]
    assert [words(pill) for pill in re.findall(r"<a.*?</a>", pills, re.S)] == [
        "Due today × (leave out)", "Hall × (leave out)", "Chamber × (leave out)",
    ]  # fmt: skip
    assert re.findall(r'href="([^"]*)"', pills) == [
        f"?place={yard['hall'].code}&amp;stage=chamber",
        "?stage=chamber&amp;due=on",
        f"?place={yard['hall'].code}&amp;due=on",
    ]
    assert f'<option value="{yard["hall"].code}" selected>' in html
    assert '<option value="chamber" selected>' in html


def test_a_pooled_flat_is_named_apart_with_the_way_to_its_numbers(crew, yard):
    flat = grafted(2, place=yard["bay1"])
    pool = make_flat(is_pooled=True)
    put(pool, yard["bay1"])
    source = grafted(20)
    move_by_number(source, target=pool, numbers={source.runs.get().pk: 3}, stamp=Stamp.now())
    html = page(crew, f"?place={yard['bay1'].code}")
    assert codes(crew, f"?place={yard['bay1'].code}") == [flat.code]
    apart = html[html.index("Counted by numbers") :]
    assert f'href="/{pool.code}/numbers"' in apart and f'href="/{flat.code}' not in apart


def test_flats_without_a_living_plant_are_left_out_and_said(crew, yard):
    alive, dead = grafted(2, place=yard["bay1"]), grafted(2, place=yard["bay1"])
    sown = make_flat()
    put(sown, yard["bay1"])
    check_flat(dead, dict.fromkeys(range(1, 5), "dead"))
    empty = grafted(2, place=yard["bay1"])
    let_leave(empty, places=[1, 2, 3, 4], reason="sold", stamp=Stamp.now())
    put(empty, yard["bay1"])
    assert codes(crew, f"?place={yard['bay1'].code}") == [alive.code]
    assert "2 flats in which nothing lives are left out." in page(crew, f"?place={yard['bay1'].code}")


def test_more_than_a_round_takes_is_said(crew, yard, monkeypatch):
    monkeypatch.setattr(rounds, "FLATS_MOST", 2)
    last, first, second = grafted(place=yard["bay1"]), grafted(9, place=yard["bay2"]), grafted(8)
    put(second, yard["bay2"])
    assert codes(crew) == code_list([first, second])
    assert "3 flats fit. A round takes 2 at most" in page(crew)
    assert last.code not in page(crew)


@pytest.mark.parametrize(
    ("query", "says"), [("", "No flat is due today"), ("?stage=chamber", "No flat fits")]
)
def test_a_round_of_none_says_why_and_does_not_start(crew, query, says):
    html = page(crew, query)
    assert says in html and '<details class="folded" open>' in html
    assert 'id="round-start" disabled aria-describedby="round-said"' in html


@pytest.mark.parametrize(
    "query", ["?place=nonsense", "?place=%00", "?session=x", f"?session={NO_SESSION}", "?stage=sown"]
)
def test_what_the_book_does_not_know_is_not_found(crew, query):
    page(crew, query, status=404)


def test_who_may_and_how(crew, tablet, idle_tablet, stranger):
    assert crew.post("/round").status_code == 405
    assert tablet.get("/round").status_code == 200
    assert stranger.get("/round").url.startswith("/login")


@pytest.mark.parametrize("query", ["", "?stage=growing_on"])
def test_asks_the_database_as_often_for_2_flats_as_for_20(crew, yard, query):
    counted = []
    for number in (2, 18):
        for at in range(number):
            flat = grafted(place=yard["bay1" if at % 2 else "bench"])
            if at % 2 == 0:
                check_flat(flat, {}, seen=[1])
        with CaptureQueriesContext(connection) as captured:
            page(crew, query)
        counted.append(len(captured))
    assert counted[0] == counted[1] <= 22


def test_the_other_pages_lead_here(crew, yard):
    session = make_session()
    flat = grafted(2, session=session, place=yard["bay1"])
    assert 'href="/round' not in crew.get("/").content.decode()  # nothing is due
    assert f'"/round?place={yard["bay1"].code}"' in crew.get(f"/{yard['bay1'].code}").content.decode()
    assert f'"/round?session={session.key}"' in crew.get(f"/bench/{session.key}").content.decode()
    assert '"/round"' in crew.get("/flats").content.decode()
    assert '"/round?stage=growing_on"' in crew.get("/flats?stage=growing_on").content.decode()
    for other in ("?stage=discarded", "?stage=sown", f"?q={flat.code}", "?place=none"):
        assert 'href="/round' not in crew.get(f"/flats{other}").content.decode()
    grafted(8)
    home = crew.get("/").content.decode()
    assert re.findall(r'class="button button-main" href="([^"]*)"', home) == ["/round"]


def test_what_the_walk_follows_is_explained_where_it_is_set(grower, yard):
    assert (
        "A round goes through the places by this number" in grower.get("/records/places/new").content.decode()
    )
    assert "order on a walk" in grower.get("/places").content.decode()
    assert 'href="/records/places"' in page(grower)
