from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from nursery.actions.copies_kept import ASKED, STALE_AFTER
from nursery.actions.copies_lock import hold_folder
from nursery.actions.copies_state import change_state

LIST, MAKE = reverse("copies"), reverse("copies-make")
NAME = "book-2026-03-09-023000.takebook"
DOWNLOAD = reverse("copies-download", args=[NAME])


@pytest.fixture(autouse=True)
def folder(tmp_path, settings):
    """A data folder with two copies in it, one of them set aside by a restore."""
    settings.DATA_DIR = tmp_path
    folder = tmp_path / "copies"
    folder.mkdir()
    (folder / NAME).write_bytes(b"x" * 2048)
    (folder / "set-aside-2026-03-08-120000.takebook").write_bytes(b"y")
    (folder / "notes.txt").write_text("no copy")
    return folder


@pytest.mark.parametrize(("method", "address"), [("get", LIST), ("post", MAKE), ("get", DOWNLOAD)])
@pytest.mark.parametrize("who", ["crew", "tablet"])
def test_copies_are_the_growers(request, who, method, address):
    assert getattr(request.getfixturevalue(who), method)(address).status_code == 403


@pytest.mark.parametrize(("method", "address"), [("post", LIST), ("get", MAKE), ("post", DOWNLOAD)])
def test_refuses_other_methods(grower, method, address):
    assert getattr(grower, method)(address).status_code == 405


def test_lists_the_copies_with_time_and_size(grower):
    text = grower.get(LIST).content.decode()
    assert "Mon 9 Mar 2026, 02:30" in text
    assert "2.0\xa0KB" in text
    assert "Sun 8 Mar 2026, 12:00 · set aside by a restore" in text
    assert "notes.txt" not in text


def test_the_list_asks_the_database_no_more_for_many_copies(grower, folder, django_assert_num_queries):
    with CaptureQueriesContext(connection) as few:
        grower.get(LIST)
    for day in range(10, 30):
        (folder / f"book-2026-02-{day}-023000.takebook").write_bytes(b"x")
    with django_assert_num_queries(len(few)):
        grower.get(LIST)


def test_hands_out_a_copy(grower):
    answer = grower.get(DOWNLOAD)
    # In one piece: a stream would keep the server's one thread until a slow tablet has all of it.
    assert not answer.streaming
    assert answer.content == b"x" * 2048
    assert f'filename="{NAME}"' in answer.headers["Content-Disposition"]


def test_says_where_a_copy_lies_that_is_too_large_to_send(grower, folder, monkeypatch):
    monkeypatch.setattr("nursery.views.copies.LARGEST_DOWNLOAD", 2047)
    text = grower.get(LIST).content.decode()
    assert f"take {NAME} from {folder}" in text
    assert DOWNLOAD not in text
    assert grower.get(DOWNLOAD).status_code == 404


@pytest.mark.parametrize("name", ["notes.txt", "..", "%2e%2e%2fsecret_key", ".lock", "book-1.takebook"])
def test_hands_out_nothing_else(grower, folder, name):
    (folder.parent / "secret_key").write_text("secret")
    assert grower.get(f"{LIST}/{name}").status_code == 404


def test_asks_the_running_program_for_a_copy(grower, folder, settings):
    with hold_folder(settings.DATA_DIR):
        assert grower.post(MAKE).url == LIST
        assert (folder / ASKED).exists()
        text = grower.get(LIST).content.decode()
    assert "A copy is being made" in text
    assert 'hx-trigger="every 2s"' in text


def test_says_so_where_no_program_watches(grower, folder):
    grower.post(MAKE)
    assert not (folder / ASKED).exists()
    text = grower.get(LIST).content.decode()
    assert "does not run here" in text
    assert "No copies are made by themselves here" in text


def test_the_last_failure_is_said_in_its_words(grower, settings):
    at = datetime(2026, 3, 9, 2, 30, tzinfo=UTC)
    change_state(settings.DATA_DIR, failed_at=at, failure="The disk is full.")
    text = grower.get(LIST).content.decode()
    assert "On 9 Mar 2026, 02:30 no copy could be made. The disk is full." in text


# --- the notice on every page


def ago(**since):
    return datetime.now(UTC) - timedelta(**since)


@pytest.mark.parametrize(
    ("state", "is_told"),
    [
        ({}, False),  # another server, which says nothing of copies
        ({"watched_since": ago(days=1)}, False),  # a new book
        ({"watched_since": ago(days=3)}, True),
        ({"watched_since": ago(days=30), "good_at": ago(hours=47)}, False),
        ({"watched_since": ago(days=30), "good_at": ago(hours=49)}, True),
    ],
)
def test_a_grower_is_told_when_the_last_good_copy_is_old(grower, settings, state, is_told):
    assert timedelta(days=2) == STALE_AFTER
    change_state(settings.DATA_DIR, **state)
    assert ("no good copy" in grower.get("/flats").content.decode()) is is_told


def test_the_page_of_copies_says_it_once(grower, settings):
    change_state(settings.DATA_DIR, good_at=ago(hours=1), second_failure="There is no folder /media/stick.")
    assert grower.get(LIST).content.decode().count("There is no folder /media/stick.") == 1


def test_the_crew_is_not_told(crew, settings):
    change_state(settings.DATA_DIR, good_at=ago(days=9))
    assert "no good copy" not in crew.get("/flats").content.decode()


def test_a_second_folder_that_is_gone_is_told(grower, settings):
    change_state(settings.DATA_DIR, good_at=ago(hours=1), second_failure="There is no folder /media/stick.")
    text = grower.get("/flats").content.decode()
    assert "copied on this machine only" in text
    assert "There is no folder /media/stick." in text


def test_the_notice_asks_the_database_nothing(grower, settings, django_assert_num_queries):
    with CaptureQueriesContext(connection) as before:
        grower.get("/flats")
    change_state(settings.DATA_DIR, good_at=ago(days=9))
    with django_assert_num_queries(len(before)):
        assert "no good copy" in grower.get("/flats").content.decode()


def test_a_state_that_cannot_be_read_breaks_no_page(grower, settings):
    (settings.DATA_DIR / "copies.json").write_text("{")
    assert grower.get("/flats").status_code == 200
