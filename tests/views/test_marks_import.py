"""The page on which a grower brings in a tablet's file of waiting marks."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from nursery.forms import marks_file
from nursery.models import Mark
from tests.commands.test_import_marks import check_part, content, mark_part, story
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db
URL = "/marks/import"


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def send(client, text):
    file = SimpleUploadedFile("waiting.json", text.encode(), content_type="application/json")
    return client.post(URL, {"file": file})


def test_takes_in_the_file_and_says_so_in_the_words_of_the_command(grower, flat, bob):
    text = content(story(flat, [3, 17]))
    answer = send(grower, text)
    assert answer.status_code == 200
    assert "4 parts taken in, 0 known already, 0 refused." in answer.content.decode()
    assert {mark.sent_by for mark in Mark.objects.all()} == {bob}
    assert "0 parts taken in, 4 known already, 0 refused." in send(grower, text).content.decode()


def test_who_brings_it_signs_where_the_login_is_not_in_the_book(grower, flat, alice):
    send(grower, content(story(flat), account="long-gone"))
    assert Mark.objects.get().sent_by == alice


def test_each_part_that_is_refused_is_named(grower, flat):
    check = check_part(flat)
    bad = mark_part(check, 400)
    html = send(grower, content([check, bad])).content.decode()
    assert f"marks {bad['part']['uuid']}: There is no such cell in this flat." in html
    assert 'data-kind="warning"' in html


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "Line 1, column 1"), ("[]", "takebook must be"), (content([])[:-9], "Was the file cut short?")],
)
def test_a_malformed_file_says_what_is_wrong_and_stores_nothing(grower, farm, text, said):
    answer = send(grower, text)
    assert answer.status_code == 422
    assert said in answer.content.decode() and "Nothing was stored" in answer.content.decode()


def test_no_file_and_one_that_is_too_long_are_refused(grower, flat, monkeypatch):
    assert grower.post(URL).status_code == 422
    monkeypatch.setattr(marks_file, "MOST_PARTS_HERE", 2)
    answer = send(grower, content(story(flat)))
    assert answer.status_code == 422 and "manage.py import_marks" in answer.content.decode()
    assert not Mark.objects.exists()


@pytest.mark.parametrize(("who", "status"), [("crew", 403), ("tablet", 403), ("stranger", 302)])
def test_only_growers_bring_files_in(request, flat, who, status):
    client = request.getfixturevalue(who)
    assert client.get(URL).status_code == status
    assert send(client, content(story(flat))).status_code == status
    assert not Mark.objects.exists()


def test_growers_find_the_page_among_the_records(grower, crew):
    assert f'href="{URL}"' in grower.get("/records").content.decode()
    assert f'href="{URL}"' not in crew.get("/records").content.decode()
