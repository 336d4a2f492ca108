"""The take page by every cut, under filters, and as a file."""

import csv
import io

import pytest
from openpyxl import load_workbook

from nursery.models import GradeCount, Grading, Run, Worker
from nursery.models.takes import TakeBy
from tests.factories import (
    GRAFTED_AT,
    make_lot,
    make_pairing,
    make_place,
    make_run,
    make_session,
    make_sowing,
    make_worker,
)
from tests.models.rows import SIGNED
from tests.models.test_takes import recorded
from tests.views.test_takes import page, words


@pytest.fixture
def pairing(db):
    return make_pairing()


@pytest.fixture
def wren(db):
    return make_worker("Wren")


@pytest.fixture
def grafted(pairing, wren):
    """Two flats by splice, 60 and 66 of 72, and one by cleft, 40 of 72."""
    bench = make_session(place=make_place("Long bench"))
    recorded(pairing, 60, 66, worker=wren)
    Run.objects.update(session=bench)
    recorded(pairing, 40)
    Run.objects.filter(worker=None).update(method="cleft")


@pytest.mark.parametrize("by", list(TakeBy))
def test_every_cut_has_a_page_and_sums_to_the_same(grower, grafted, by):
    html = page(grower, by=by.value)
    assert 'aria-current="page"' in html
    rows = list(csv.DictReader(io.StringIO(_file(grower, by=by.value, format="csv").decode("utf-8-sig"))))
    assert (sum(int(row["alive"]) for row in rows), sum(int(row["grafted"]) for row in rows)) == (166, 216)


def _file(client, **asked):
    response = client.get("/takes", asked)
    assert response.status_code == 200 and "attachment" in response["Content-Disposition"]
    return response.content


def test_methods_are_compared(grower, grafted):
    html = words(page(grower, by="method"))
    assert "126 of 144" in html and "40 of 72" in html


def test_a_row_leads_to_what_it_is_made_of(grower, grafted, pairing):
    html = page(grower)
    assert f"?by=scion_lot&amp;pairing={pairing.key}" in html
    html = words(page(grower, by="method", pairing=str(pairing.key)))
    assert f"Pairing: {pairing}" in html and "126 of 144" in html


def test_what_is_kept_to_can_be_left_out(grower, grafted):
    html = page(grower, method="cleft")
    assert "40 of 72" in html and "126 of 144" not in html
    assert 'href="?"' in html and "Method: Cleft" in html


def test_filters_hold_together(grower, grafted, wren):
    assert "Nothing has been counted under these filters" in page(
        grower, method="cleft", grafter=str(wren.key)
    )
    assert "126 of 144" in page(grower, method="splice", grafter=str(wren.key))
    assert "Nothing has been counted under these filters" in page(grower, first_day="2026-03-03")


def test_grafts_without_a_grafter_can_be_kept_to(grower, grafted):
    assert "40 of 72" in page(grower, grafter="none")


def test_several_lots_on_a_side_are_mixed(grower, pairing):
    recorded(pairing, 60)
    run = Run.objects.get()
    for _ in range(2):
        run.run_sowings.create(sowing=make_sowing(make_lot(pairing.scion)), side="scion")
    assert "mixed: several lots" in page(grower, by="scion_lot")
    assert "60 of 72" in page(grower, scion_lot="mixed")
    assert "not recorded" in page(grower, by="rootstock_lot")


@pytest.mark.parametrize(
    "asked",
    [{"method": "glue"}, {"pairing": "x"}, {"place": "P00"}, {"first_day": "moon"}, {"pairing": "none"},
     {"scion_lot": "a+b"}, {"first_day": "2026-03-05", "last_day": "2026-03-04"}, {"format": "pdf"}],
)  # fmt: skip
def test_what_the_book_does_not_know_is_not_found(grower, grafted, asked):
    page(grower, 404, **asked)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"method": "glue"}, "Method glue The book knows no such row."),
        ({"first_day": "moon"}, "Grafted from moon Enter a valid date."),
        ({"by": "moon"}, "Compare by moon"),
    ],
)
def test_says_in_words_what_the_book_does_not_know_and_leads_on_without_it(grower, grafted, asked, said):
    html = page(grower, 404, roots="none", **asked)
    assert said in words(html)
    assert 'href="/takes?roots=none"' in html


@pytest.mark.parametrize(("client_name", "status"), [("grower", 200), ("crew", 403), ("tablet", 403)])
def test_nobody_else_keeps_to_a_grafter(client_name, status, grafted, wren, bob, request):
    client = request.getfixturevalue(client_name)
    session = client.session
    session["worker"] = str(wren.key)
    session.save()
    page(client, status, grafter=str(wren.key))


def test_a_worker_keeps_to_the_own_grafts(crew, bob, pairing):
    recorded(pairing, 60, worker=Worker.objects.get(account=bob))
    assert "60 of 72" in page(crew, grafter=str(bob.worker.key))


def test_flats_not_counted_yet_are_said(grower, pairing):
    recorded(pairing, 60)
    make_run(pairing=pairing, finished_at=GRAFTED_AT)
    assert "1 of 2 flats" in words(page(grower))


def test_saleable_stands_beside_the_take(grower, pairing):
    recorded(pairing, 66)
    run = Run.objects.get()
    grading = Grading.objects.create(flat=run.flat, day=run.grafted_on, **SIGNED)
    for grade, plants, heads, is_even in (
        ("first", 40, 2, True),
        ("second", 18, 1, None),
        ("cull", 8, 1, None),
    ):
        GradeCount.objects.create(
            grading=grading, run=run, grade=grade, plants_count=plants, heads_per_plant=heads, is_even=is_even
        )
    html = words(page(grower))
    assert "58 of 66 graded" in html and "heads," not in html
    # 40 plants with two heads and 18 with one: 98 heads
    assert "98 heads, two heads: 40 even, 0 uneven" in words(page(grower, heads="on"))


def test_a_workbook_holds_the_numbers(grower, grafted):
    book = load_workbook(io.BytesIO(_file(grower, by="method", format="xlsx")))
    header, *rows = list(book.active.values)
    assert {(row[header.index("name")], row[header.index("alive")]) for row in rows} >= {("Cleft", 40)}


def test_an_ended_session_says_what_has_come_of_it(grower, pairing):
    session = make_session(ended_at=GRAFTED_AT)
    recorded(pairing, 66)
    run = Run.objects.get()
    Run.objects.update(session=session)
    recorded(pairing, 10)  # of no session
    grading = Grading.objects.create(flat=run.flat, day=run.grafted_on, **SIGNED)
    for grade, plants in (("second", 60), ("cull", 6)):
        GradeCount.objects.create(grading=grading, run=run, grade=grade, plants_count=plants)
    html = grower.get(f"/bench/{session.key}").content.decode()
    assert "66 of 72 took" in words(html) and "60 of 66 graded are saleable" in words(html)
    assert f"/takes?session={session.key}" in html
    assert "66 of 72" in page(grower, session=str(session.key))
