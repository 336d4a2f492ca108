"""Whole flats leave by one touch."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.stamp import Stamp
from nursery.models import Leaving, StageMove
from tests.factories import make_flat, make_pairing, make_place
from tests.views.plants import alive, leave_by_number, leave_now, planted, words

GOAL = {"reason": "sold", "destination": "the market"}


@pytest.fixture
def flats(farm):
    flats = [planted(pairing=make_pairing()) for _each in range(3)]
    leave_now(flats[0], range(1, 13))
    leave_by_number(flats[1], 6)
    return flats


def address(flats):
    return "/leave?" + "&".join(f"flat={flat.code}" for flat in flats)


def test_all_that_lives_leaves_and_one_touch_takes_it_back(crew, flats):
    # 72 - 12 by cells, 72 - 6 by number, 72: 198 live.
    page = crew.get(address(flats))
    assert "Let all 198 leave" in page.content.decode()
    answer = crew.post("/leave", {**GOAL, "flat": [flat.code for flat in flats]})
    said = words(crew.get(answer.url))
    assert "198 plants left" in said
    assert "Sold, the market" in said
    assert [alive(flat) for flat in flats] == [0, 0, 0]
    assert StageMove.objects.standing().filter(stage="dispatched").count() == 3
    said = words(crew.post(f"{answer.url}/undo", follow=True))
    assert "Taken back: it counts for nothing" in said
    assert [alive(flat) for flat in flats] == [60, 66, 72]
    assert "Someone else changed" in words(crew.post(f"{answer.url}/undo", follow=True))


def test_all_that_stands_in_a_place(crew, flats):
    bay = make_place("Bay 2", kind="bay")
    StageMove.objects.create(flat=flats[2], stage="growing_on", place=bay, **Stamp.now().fields())
    page = crew.get(f"/leave?place={bay.code}")
    assert "1 flat leaves" in words(page)
    assert flats[2].code in page.content.decode()
    assert f"/leave?place={bay.code}" in crew.get(f"/{bay.code}").content.decode()


def test_nothing_chosen_leads_to_the_list(crew, farm):
    assert crew.get("/leave").url == "/flats"


def test_invalid_stores_nothing(crew, flats):
    before = Leaving.objects.count()
    sent = {"flat": [flat.code for flat in flats]}
    assert crew.post("/leave", sent).status_code == 422
    empty = make_flat()
    answer = crew.post("/leave", {**GOAL, "flat": [empty.code]})
    assert answer.status_code == 422
    assert "nothing to send off" in words(answer)
    assert crew.post("/leave", {**GOAL, "flat": ["F3K7QN0"]}).status_code == 404
    assert Leaving.objects.count() == before


def test_what_is_not_there(crew, farm):
    assert crew.get(f"/leave/{uuid4()}").status_code == 404
    assert crew.post(f"/leave/{uuid4()}/undo").status_code == 404
    assert crew.get(f"/leave/{uuid4()}/undo").status_code == 405


def test_as_many_queries_for_two_flats_as_for_twelve(crew, farm):
    flats = [planted(places=range(1, 5), pairing=make_pairing()) for _each in range(12)]
    for flat in flats:
        leave_now(flat, [1])
    counts = []
    for some in (flats[:2], flats):
        for page in (address(some), "/flats?q=" + ("Cultivar" if some is flats else some[0].code)):
            with CaptureQueriesContext(connection) as captured:
                assert crew.get(page).status_code == 200
            counts.append(len(captured))
    assert counts[:2] == counts[2:]


def test_the_list_says_who_lives_after_a_leaving(crew, flats):
    said = words(crew.get("/flats"))
    for part in ("60 alive, 12 gone", "66 alive, 6 gone", "72 grafted, not counted"):
        assert part in said
