"""Bringing in past seasons in the browser: choose, look, store."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from nursery.models import DayCount, Season, TallyRow
from tests import crowder
from tests.actions.test_tallies import ROW, file_of, row


def upload(client, *rows, content=None, **fields):
    file = SimpleUploadedFile("past.csv", file_of(*rows) if content is None else content, "text/csv")
    return client.post(reverse("tally-preview"), {"file": file, **fields})


def packed(response):
    return re.search(r'name="packed" value="([^"]+)"', response.content.decode())[1]


def store(client, response):
    return client.post(reverse("tally-store"), {"packed": packed(response)})


def test_the_page_says_which_columns(grower):
    html = grower.get(reverse("tally-import")).content.decode()
    assert "grafted_on, checked_on" in html
    assert html.count("<h1") == 1


def test_the_example_on_the_page_can_be_imported(grower):
    html = grower.get(reverse("tally-import")).content.decode()
    example = re.search(r"<pre>(.*?)</pre>", html, re.DOTALL)[1]
    assert upload(grower, content=example.encode()).status_code == 200


def test_looking_stores_nothing(grower):
    response = upload(grower, ROW, row(flat="A2"))
    html = response.content.decode()
    assert response.status_code == 200
    assert "<b>2</b> new" in html
    assert "Spring 2025, 2025-01-01" in html
    assert "68 of 72" in html
    assert not TallyRow.objects.exists() and not Season.objects.exists()


def test_storing_what_was_looked_at(grower, alice):
    response = store(grower, upload(grower, ROW))
    assert (response.status_code, response.url) == (302, reverse("takes"))
    assert TallyRow.objects.get().imported_by == alice
    assert DayCount.objects.get().is_record


def test_the_same_file_again_offers_nothing_to_store(grower):
    store(grower, upload(grower, ROW))
    html = upload(grower, ROW).content.decode()
    assert "There is nothing to store" in html
    assert "Store these rows" not in html


def test_faults_are_shown_by_row_and_column(grower):
    response = upload(grower, ROW, row(flat="A2", alive="73"))
    html = response.content.decode()
    assert response.status_code == 422
    assert "1 fault in the table. Nothing was stored." in html
    assert "73 alive are more than the 72 grafted." in html
    assert not TallyRow.objects.exists()


def test_other_counts_replace_only_when_ticked(grower):
    store(grower, upload(grower, ROW))
    assert upload(grower, row(alive="60")).status_code == 422
    response = upload(grower, row(alive="60"), replaces="on")
    assert "replacing other counts" in response.content.decode()
    store(grower, response)
    assert TallyRow.objects.standing().get().alive == 60


def test_the_book_changed_between_looking_and_storing(grower):
    looked = upload(grower, ROW)
    store(grower, upload(grower, row(alive="60")))
    response = store(grower, looked)
    assert response.status_code == 422
    assert "The book has 72 grafted, 60 alive" in response.content.decode()
    assert TallyRow.objects.get().alive == 60


def test_a_season_for_rows_that_name_none(grower):
    store(grower, upload(grower, row(season=""), season="Past"))
    assert Season.objects.get().name == "Past"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty."),
        (b"\n" * 50_002, "more than 50000 rows"),
        (b"x" * 6_300_000, "at most 6 MB"),
        (b"PK\x03\x04x", "no workbook that can be read"),
    ],
)
def test_files_that_cannot_be_read_say_so(grower, content, words):
    response = upload(grower, content=content)
    assert response.status_code == 422
    assert words in response.content.decode()


def test_a_changed_package_is_refused(grower):
    response = grower.post(reverse("tally-store"), {"packed": packed(upload(grower, ROW)) + "x"})
    assert response.status_code == 422
    assert not TallyRow.objects.exists()


@pytest.mark.parametrize(("client_name", "status"), [("grower", 200), ("crew", 403), ("stranger", 302)])
def test_growers_only(client_name, status, request):
    client = request.getfixturevalue(client_name)
    assert client.get(reverse("tally-import")).status_code == status
    assert upload(client, ROW).status_code == status
    if status != 200:
        assert client.post(reverse("tally-store"), {"packed": "x"}).status_code == status


@pytest.mark.parametrize("name", ["tally-preview", "tally-store"])
def test_wrong_method(grower, name):
    assert grower.get(reverse(name)).status_code == 405


def test_names_are_escaped(grower):
    html = upload(grower, row(scion="<b>Amber</b>")).content.decode()
    assert "&lt;b&gt;Amber&lt;/b&gt;" in html
    assert "<b>Amber" not in html


def test_crowders_plates_go_in(grower):
    response = upload(grower, content=crowder.tallies_csv())
    assert "<b>21</b> new" in response.content.decode()
    store(grower, response)
    assert DayCount.objects.records().count() == 21
