"""A flat without its label, found by what is known of it and by its dead cells; two flats with one label."""

import html
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.models import Change, Flat, LabelPrint, StageMove
from tests.factories import make_flat, make_layout, make_pairing, make_place, make_run
from tests.views.checking import check_flat

HTMX = {"HX-Request": "true"}


def grafted(dead=(), rows=6, columns=12, days=9, **fields):
    flat = make_flat(rows, columns, **fields.pop("flat", {}))
    places = [place for place in range(1, rows * columns + 1) if place not in (flat.blank_places or [])]
    make_run(flat, places=places, grafted_on=timezone.localdate() - timedelta(days=days), **fields)
    if dead:
        check_flat(flat, dict.fromkeys(dead, "dead"))
    return flat


def said(client, query="", **headers):
    answer = client.get(f"/find-flat{query}", headers=headers)
    assert answer.status_code == 200
    text = answer.content.decode()
    lines = re.findall(r'<li class="sheet found-flat">(.*?)</li>', text, re.DOTALL)
    codes = [re.search(r'href="/(F[^"/]+)"', line)[1] for line in lines]
    return codes, html.unescape(" ".join(re.sub(r"<[^>]+>", " ", text).split()))


def test_the_flat_whose_dead_cells_were_tapped_comes_first(crew, farm):
    # A1, B3 and F11 are places 1, 15 and 71 of twelve columns.
    exact, near, other = grafted([1, 15, 71]), grafted([1, 15]), grafted([30, 31])
    codes, words = said(crew, "?empty=A1 B3 F11")
    assert codes == [exact.code, near.code, other.code]
    assert "This one fits best" in words and "3 of 3 tapped cells fit" in words
    assert "0 of 3 tapped cells fit, 2 others are empty there" in words


def test_flats_that_fit_equally_are_said_to(crew, farm):
    grafted([1]), grafted([1]), grafted([1, 2])
    assert "2 flats fit equally well: tap more cells" in said(crew, "?empty=A1")[1]


def test_a_blank_place_counts_as_empty_and_an_unused_one_says_nothing(crew, farm):
    blank = grafted(flat={"blank_places": [1]})
    half = make_flat(layout=make_layout("Every other", "other_cell", skips_first=True))
    make_run(half, places=half.layout.used_places(6, 12))
    codes, words = said(crew, "?empty=A1")
    assert codes == [blank.code, half.code]
    assert "0 of 0 tapped" in words


def test_place_pairing_and_day_leave_the_others_out(crew, farm):
    pairing, place = make_pairing(), make_place(kind="chamber")
    trolley = make_place(kind="trolley", stands_in=place)
    one, two = grafted(pairing=pairing, days=9), grafted(days=20)
    for flat, where in ((one, place), (two, trolley)):
        StageMove.objects.create(
            flat=flat, stage="chamber", place=where, at=timezone.now(), raw_at=timezone.now(),
            received_at=timezone.now(),
        )  # fmt: skip
    third = grafted()
    assert said(crew, f"?pairing={pairing.key}")[0] == [one.code]
    assert set(said(crew, f"?place={place.code}")[0]) == {one.code, two.code}
    assert said(crew, f"?place={trolley.code}")[0] == [two.code]
    day = timezone.localdate() - timedelta(days=15)
    assert said(crew, f"?until={day}")[0] == [two.code]
    assert set(said(crew, f"?since={day}")[0]) == {one.code, third.code}


def test_only_flats_of_the_format_that_stand_on_the_farm(crew, farm):
    small, gone, here = grafted(rows=4, columns=6), grafted(), grafted()
    StageMove.objects.create(
        flat=gone, stage="dispatched", at=timezone.now(), raw_at=timezone.now(), received_at=timezone.now()
    )
    assert said(crew)[0] == [here.code]
    assert said(crew, f"?shape={small.tray_format.key}")[0] == [small.code]


def test_what_names_no_place_is_said_and_left_out(crew, farm):
    flat = grafted([1])
    codes, words = said(crew, "?empty=A1 Z9 <b>")
    assert codes == [flat.code] and "This format has no place Z9, <b>." in words


@pytest.mark.parametrize("query", ["?since=2026-03-02&until=2026-03-01", "?place=P000000", "?shape=x"])
def test_what_makes_no_sense_is_answered_in_words(crew, farm, query):
    grafted()
    answer = crew.get(f"/find-flat{query}")
    assert answer.status_code == 422 and 'data-kind="error"' in answer.content.decode()


def test_htmx_gets_the_flats_alone(crew, farm):
    grafted([1])
    text = crew.get("/find-flat?empty=A1", headers=HTMX).content.decode()
    assert text.lstrip().startswith('<section id="lookup-found"') and "<h1" not in text


def test_an_empty_book_and_nobody_logged_in(crew, stranger):
    assert crew.get("/find-flat").status_code == 200
    assert stranger.get("/find-flat").status_code == 302


def test_as_many_queries_for_many_flats_as_for_one(crew, farm):
    counts = []
    for number in (1, 20):
        for _ in range(number):
            grafted([1, 2])
        with CaptureQueriesContext(connection) as captured:
            said(crew, "?empty=A1")
        counts.append(len(captured))
    assert counts[0] == counts[1] <= 25


def test_a_label_printed_before_says_so_on_its_page_and_on_the_flats(crew, farm):
    flat = grafted()
    for days in (9, 8, 3):
        LabelPrint.objects.create(
            code=flat.code, stock="a4", printed_at=timezone.now() - timedelta(days=days)
        )
    for address in (flat.get_absolute_url(), f"{flat.get_absolute_url()}/label"):
        words = " ".join(re.sub(r"<[^>]+>", " ", crew.get(address).content.decode()).split())
        assert "Printed 3 times, last on" in words and "take the old one off" in words
        assert f"/{flat.code}/two-labels" in crew.get(address).content.decode()


def test_two_labels_lead_to_the_other_flat_and_to_its_checks(grower, farm):
    flat = grafted([1])
    text = grower.get(f"/{flat.code}/two-labels").content.decode()
    check = flat.checks.get()
    assert f"/find-flat?shape={flat.tray_format.key}&amp;pairing=" in text
    assert f"/{flat.code}/check/{check.uuid}/give" in text and 'data-state="dead"' in text


def test_the_second_flat_gets_a_code_and_its_label_is_printed_next(crew, farm):
    flat = grafted([1])
    answer = crew.post(f"/{flat.code}/two-labels/second")
    twin = Flat.objects.exclude(pk=flat.pk).get()
    assert answer.url == f"/{twin.code}/label"
    assert twin.cells.count() == 72 and Change.objects.get().field == "twin"
    assert "take the old one off" in crew.get(answer.url).content.decode()


def test_a_second_of_what_was_never_grafted_is_refused_in_words(crew, farm):
    flat = make_flat()
    assert crew.get(f"/{flat.code}/two-labels").status_code == 200
    answer = crew.post(f"/{flat.code}/two-labels/second")
    assert answer.status_code == 422 and "at the bench first" in answer.content.decode()
    assert crew.get(f"/{flat.code}/two-labels/second").status_code == 405
    assert Flat.objects.count() == 1


def test_nobody_without_a_login(stranger, farm):
    flat = grafted()
    assert stranger.get(f"/{flat.code}/two-labels").status_code == 302
    assert stranger.post(f"/{flat.code}/two-labels/second").status_code == 302
    assert Flat.objects.count() == 1
