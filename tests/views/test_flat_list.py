import random
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from nursery.calc.codes import new_code, spoken
from nursery.models import Cell, Cultivar, DayCount, Flat, Pairing, Place, Run, StageMove
from tests.factories import (
    GRAFTED_AT,
    GRAFTED_ON,
    make_crop,
    make_cultivar,
    make_flat,
    make_lot,
    make_pairing,
    make_place,
    make_run,
    make_sowing,
)


def move(flat, stage, place=None):
    at = {"at": GRAFTED_AT, "raw_at": GRAFTED_AT, "received_at": GRAFTED_AT}
    return StageMove.objects.create(flat=flat, stage=stage, place=place, **at)


def count(run, *, day, alive):
    cells = run.cells.count()
    DayCount.objects.create(
        flat=run.flat, run=run, pairing=run.pairing, day=day, grafted=cells, seen=cells, alive=alive,
        wilting=0, dead=cells - alive, gone=0, gone_early=0, is_closed=True,
    )  # fmt: skip


def page(client, **query):
    answer = client.get(reverse("flat-list"), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_an_empty_list_says_what_to_do_first(crew):
    assert "open a session" in page(crew)


def test_a_row_says_pairing_day_place_and_the_living(crew):
    run = make_run(pairing=make_pairing(make_cultivar("Brass Kettle"), make_cultivar("Old Fence")))
    move(run.flat, "chamber", make_place("Warm room", kind="chamber"))
    count(run, day=GRAFTED_ON + timedelta(days=7), alive=70)
    count(run, day=GRAFTED_ON + timedelta(days=14), alive=68)
    text = page(crew)
    for part in (
        spoken(run.flat.code),
        "Brass Kettle on Old Fence",
        "2 Mar 2026",
        "Chamber, Warm room",
        "68 of 72",
    ):
        assert part in text


def test_a_place_called_like_its_stage_is_said_once(crew):
    move(make_run().flat, "chamber", make_place("Chamber", kind="chamber"))
    assert "Chamber, Chamber" not in page(crew)


def test_sums_the_runs_of_a_flat(crew):
    flat = make_flat()
    first = make_run(flat, places=range(1, 31))
    make_run(flat, places=range(31, 73))
    count(first, day=GRAFTED_ON + timedelta(days=7), alive=25)
    assert "67 of 72" in page(crew)


def test_what_nobody_looked_at_yet_is_not_called_alive(crew):
    make_run()
    assert "72 grafted, not counted" in page(crew)


def test_a_flat_sown_and_not_yet_grafted_names_its_sowing(crew):
    make_flat(sowing=make_sowing(make_lot(make_cultivar("Old Fence"))))
    assert "sown: Old Fence" in page(crew)


@pytest.mark.parametrize("text", ["kettle on old", "WARM", "Row 7", "code", "spoken"])
def test_finds_by_code_pairing_place_and_own_name(crew, text):
    make_run()
    wanted = make_run(
        make_flat(own_name="Row 7"),
        pairing=make_pairing(make_cultivar("Brass Kettle"), make_cultivar("Old Fence")),
    )
    move(wanted.flat, "chamber", make_place("Warm room", kind="chamber"))
    code = wanted.flat.code
    found = page(crew, q={"code": code[:5].lower(), "spoken": spoken(code)}.get(text, text))
    assert found.count("<tr>") == 2
    assert f'href="/{code}"' in found


def test_a_pill_keeps_to_one_stage(crew):
    here, gone = make_run().flat, make_run().flat
    move(here, "chamber")
    move(gone, "discarded")
    found = page(crew, stage="chamber")
    assert spoken(here.code) in found
    assert spoken(gone.code) not in found


def test_what_fits_nothing_leads_back_to_all(crew):
    make_run()
    assert "Show all flats" in page(crew, q="nothing of that name")


def test_turns_pages_and_keeps_the_search(crew):
    for _ in range(41):
        make_flat(own_name="Row")
    first = page(crew, q="row")
    assert first.count("<tr>") == 41
    assert "Page 1 of 2" in first
    assert "q=row" in first
    assert page(crew, q="row", page=2).count("<tr>") == 2


def test_htmx_gets_the_rows_alone(crew):
    make_run()
    answer = crew.get(reverse("flat-list"), headers={"HX-Request": "true"})
    assert answer.content.decode().strip().startswith('<div id="flat-rows"')


def queries_of(client):
    with CaptureQueriesContext(connection) as captured:
        page(client)
    return len(captured)


def distinct_flats(number):
    """Flats each with a pairing, a place and a count of its own, stored in few statements."""
    crop, like = make_crop(), make_flat()
    rng = random.Random(number)
    cultivars = Cultivar.objects.bulk_create(
        Cultivar(crop=crop, name=f"{number} {n}") for n in range(2 * number)
    )
    pairs = zip(cultivars[::2], cultivars[1::2], strict=True)
    pairings = Pairing.objects.bulk_create(Pairing(scion=s, rootstock=r) for s, r in pairs)
    places = Place.objects.bulk_create(
        Place(code=new_code("P", rng), name=f"Bay {number} {n}", kind="bay") for n in range(number)
    )
    flats = Flat.objects.bulk_create(
        Flat(code=new_code("F", rng), tray_format=like.tray_format, layout=like.layout, created_at=GRAFTED_AT)
        for _ in range(number)
    )
    at = {"at": GRAFTED_AT, "raw_at": GRAFTED_AT, "received_at": GRAFTED_AT}
    StageMove.objects.bulk_create(
        StageMove(flat=flat, stage="growing_on", place=place, **at)
        for flat, place in zip(flats, places, strict=True)
    )
    runs = Run.objects.bulk_create(
        Run(flat=flat, number=1, pairing=pairing, method="splice", grafted_on=GRAFTED_ON)
        for flat, pairing in zip(flats, pairings, strict=True)
    )
    Cell.objects.bulk_create(Cell(flat=run.flat, place_no=1, run=run, order_in_run=1) for run in runs)
    like.delete()


def test_asks_the_database_as_often_for_2_flats_as_for_200(crew):
    distinct_flats(2)
    few = queries_of(crew)
    distinct_flats(200)
    assert Flat.objects.count() == 202
    assert queries_of(crew) == few


def test_asks_for_a_login(stranger):
    assert stranger.get(reverse("flat-list")).url.startswith(reverse("login"))


def test_only_reads(crew):
    assert crew.post(reverse("flat-list")).status_code == 405
