"""Long work in the browser: asked for, looked at, stopped, begun again, taken away."""

import contextlib
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from nursery.actions import export
from nursery.actions.job_kinds import KINDS
from nursery.actions.job_line import run_line
from nursery.actions.jobs import ask_for
from nursery.models import Job, TallyRow
from tests.actions.test_tallies import ROW, file_of, row

HTMX = {"HX-Request": "true"}
MANY = [row(flat=f"A{number}") for number in range(310)]


def work():
    """Do what stands in the line, here and now."""
    return run_line(KINDS, heart=lambda _job: contextlib.nullcontext())


def upload(client, rows):
    file = SimpleUploadedFile("past.csv", file_of(*rows), "text/csv")
    return client.post(reverse("tally-preview"), {"file": file})


@pytest.fixture
def waiting(alice):
    return ask_for("export_csv", {}, alice)


def page_of(client, job):
    return client.get(reverse("job-detail", args=[job.key])).content.decode()


def test_a_large_table_is_looked_at_and_stored_as_long_work(grower, alice):
    answer = upload(grower, MANY)
    looking = Job.objects.get()
    assert answer.url == reverse("job-detail", args=[looking.key])
    assert "Begins in a moment" in page_of(grower, looking)
    work()
    assert grower.get(answer.url).url == reverse("tally-look", args=[looking.key])
    html = grower.get(reverse("tally-look", args=[looking.key])).content.decode()
    assert "<b>310</b> new" in html and "12 of 310 rows" in html
    assert not TallyRow.objects.exists()
    stored = grower.post(reverse("tally-look-store", args=[looking.key]))
    assert not TallyRow.objects.exists()
    work()
    assert TallyRow.objects.filter(imported_by=alice).count() == 310
    html = grower.get(stored.url).content.decode()
    assert "310 rows are in the book now" in html and reverse("takes") in html


def test_faults_of_a_large_table_are_shown_by_row(grower):
    upload(grower, [*MANY, row(flat="B", alive="73")])
    work()
    html = grower.get(reverse("tally-look", args=[Job.objects.get().key])).content.decode()
    assert "1 fault in the table. Nothing was stored." in html
    assert "73 alive are more than the 72 grafted." in html


def test_a_table_that_was_dropped_meanwhile_is_asked_for_again(grower):
    from nursery.actions.jobs import given_file

    upload(grower, MANY)
    work()
    given_file(Job.objects.get()).unlink()
    answer = grower.post(reverse("tally-look-store", args=[Job.objects.get().key]))
    assert answer.status_code == 422 and "choose the file again" in answer.content.decode()


def test_a_small_table_is_no_long_work(grower):
    assert upload(grower, [ROW]).status_code == 200
    assert not Job.objects.exists()


def test_the_page_asks_again_until_the_work_has_ended(grower, waiting):
    address = reverse("job-detail", args=[waiting.key])
    part = grower.get(address, headers=HTMX)
    assert 'hx-trigger="every 1s"' in part.content.decode() and "<html" not in part.content.decode()
    Job.objects.update(state="cancelled", ended_at=timezone.now())
    assert grower.get(address, headers=HTMX).headers["HX-Refresh"] == "true"
    assert "hx-trigger" not in page_of(grower, waiting)


def test_how_far_it_is(grower, waiting):
    now = timezone.now()
    Job.objects.update(state="running", started_at=now, seen_at=now, done_count=1200, total_count=5000)
    html = page_of(grower, waiting)
    assert 'max="5000" value="1200"' in html and "Stop this" in html


def test_its_place_in_the_line(grower, waiting, alice):
    second = ask_for("export_xlsx", {}, alice)
    assert "1 piece of work before it" in page_of(grower, second)


def test_waiting_work_is_cancelled_at_once_and_begun_again(grower, waiting):
    grower.post(reverse("job-cancel", args=[waiting.key]))
    waiting.refresh_from_db()
    assert waiting.state == "cancelled"
    assert "Start again" in page_of(grower, waiting)
    grower.post(reverse("job-again", args=[waiting.key]))
    assert Job.objects.filter(state="waiting", kind="export_csv").count() == 1


def test_work_that_has_not_failed_is_not_begun_again(grower, waiting):
    answer = grower.post(reverse("job-again", args=[waiting.key]), follow=True)
    assert "nothing to start again" in answer.content.decode()
    assert Job.objects.count() == 1


@pytest.mark.parametrize(("kind", "begins"), [("export_csv", b"PK\x03\x04"), ("export_xlsx", b"PK\x03\x04")])
def test_everything_is_asked_for_and_taken_away(grower, monkeypatch, kind, begins):
    monkeypatch.setattr(export, "snapshot", lambda: contextlib.nullcontext("default"))
    answer = grower.post(reverse("book-export-ask"), {"kind": kind})
    assert grower.get(answer.url + "/file").status_code == 404
    work()
    assert "Download" in grower.get(answer.url).content.decode()
    file = grower.get(answer.url + "/file")
    assert b"".join(file.streaming_content).startswith(begins)
    assert "attachment" in file.headers["Content-Disposition"]


def test_another_kind_is_refused(grower):
    assert grower.post(reverse("book-export-ask"), {"kind": "tally_import"}).status_code == 422
    assert not Job.objects.exists()


def test_a_message_is_escaped(grower, waiting):
    Job.objects.update(state="failed", ended_at=timezone.now(), message="<b>no</b>\nsecond line")
    html = page_of(grower, waiting)
    assert "&lt;b&gt;no&lt;/b&gt;<br>second line" in html


@pytest.mark.parametrize(("client_name", "status"), [("grower", 200), ("crew", 403), ("stranger", 302)])
def test_growers_only(client_name, status, request, waiting):
    client = request.getfixturevalue(client_name)
    for name in ("job-list", "book-export"):
        assert client.get(reverse(name)).status_code == status
    assert client.get(reverse("job-detail", args=[waiting.key])).status_code == status
    if status != 200:
        for name in ("job-cancel", "job-again", "tally-look-store"):
            assert client.post(reverse(name, args=[waiting.key])).status_code == status
        for name in ("job-file", "tally-look"):
            assert client.get(reverse(name, args=[waiting.key])).status_code == status
        assert client.post(reverse("book-export-ask"), {"kind": "export_csv"}).status_code == status
    assert Job.objects.get().state == "waiting"


@pytest.mark.parametrize("name", ["job-cancel", "job-again", "tally-look-store"])
def test_wrong_method(grower, waiting, name):
    assert grower.get(reverse(name, args=[waiting.key])).status_code == 405
    assert grower.get(reverse("book-export-ask")).status_code == 405


@pytest.mark.parametrize("name", ["job-detail", "job-file", "tally-look"])
def test_what_is_not_there(grower, name):
    assert grower.get(reverse(name, args=[uuid4()])).status_code == 404


def test_the_list_costs_the_same_for_few_and_many(grower, alice, django_assert_num_queries):
    address = reverse("job-list")
    queries = []
    for count in (2, 20):
        while Job.objects.count() < count:
            Job.objects.create(kind="export_csv", asked_by=alice, asked_at=timezone.now(), state="done")
        with django_assert_num_queries(7, exact=False) as found:
            assert grower.get(address).content.decode().count("<tr>") == count + 1
        queries.append(len(found))
    assert queries[0] == queries[1]
