"""Long work: the line, how far it is, stopping it, and what is true after its process died."""

import contextlib
import os
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError
from django.utils import timezone

from nursery.actions import job_line, jobs
from nursery.actions.job_kinds import KINDS
from nursery.actions.job_line import Outcome, Progress, Work, claim_next, run_line
from nursery.actions.jobs import ask_again, ask_for, cancel_job, see_to_jobs, start_process
from nursery.models import Job

pytestmark = pytest.mark.django_db
KIND = "export_csv"


@pytest.fixture
def started(monkeypatch):
    """The keys for which a process would have been started."""
    keys = []
    monkeypatch.setattr(jobs, "start_process", keys.append)
    monkeypatch.setattr(jobs, "_started_at", None)
    return keys


@pytest.fixture(autouse=True)
def at_every_step(monkeypatch):
    monkeypatch.setattr(job_line, "WRITE_EVERY_SECONDS", 0)
    yield
    job_line.ending.clear()


def ask(kind=KIND, **fields):
    job = ask_for(kind, {}, None)
    if fields:
        Job.objects.filter(pk=job.pk).update(**fields)
    return job


def work(run, undo=None):
    """Do the line with ``run`` in place of the real work; return how often it was undone."""
    undone = []
    one = Work(run, undo or undone.append)
    run_line(dict.fromkeys(jobs.TITLES, one), heart=lambda _job: contextlib.nullcontext())
    return [job.pk for job in undone]


def steps(count, before=lambda number: None):
    def run(job, progress):
        progress.expect(count)
        for number in range(count):
            before(number)
            progress.step()
        return Outcome("All done.", {"n": count})

    return run


def silent(job):
    """Let the process of a job have died a while ago."""
    long_ago = timezone.now() - jobs.SILENT - timedelta(seconds=1)
    Job.objects.filter(pk=job.pk).update(state="running", started_at=long_ago, seen_at=long_ago)


def test_every_kind_has_a_title_and_a_way_to_do_it():
    assert set(KINDS) == set(jobs.TITLES)
    with pytest.raises(ValueError, match="kind must be one of"):
        ask_for("nonsense", {}, None)


def test_work_is_done_in_the_order_it_was_asked_for():
    asked = [ask() for _number in range(3)]
    done = []

    def run(job, progress):
        done.append(job.pk)
        return Outcome("Done.")

    assert work(run) == []
    assert done == [job.pk for job in asked]
    assert set(Job.objects.values_list("state", "message")) == {("done", "Done.")}


def test_progress_stands_in_the_book_while_it_goes_on():
    job = ask()
    seen = []

    def look(number):
        seen.append(Job.objects.values_list("state", "done_count", "total_count").get())

    work(steps(3, look))
    assert seen == [("running", 0, 3), ("running", 1, 3), ("running", 2, 3)]
    job.refresh_from_db()
    assert (job.state, job.done_count, job.total_count, job.result) == ("done", 3, 3, {"n": 3})
    assert job.started_at <= job.ended_at


def test_progress_is_written_at_most_twice_a_second(monkeypatch, django_assert_max_num_queries):
    monkeypatch.setattr(job_line, "WRITE_EVERY_SECONDS", 0.5)
    progress = Progress(ask(state="running"))
    with django_assert_max_num_queries(2):
        progress.expect(1000)
        for _number in range(1000):
            progress.step()


def test_cancelled_while_it_goes_on_it_stops_at_the_next_step_and_is_undone():
    job = ask()
    done = []

    def cancel(number):
        done.append(number)
        if number == 1:
            cancel_job(Job.objects.get())

    assert work(steps(9, cancel)) == [job.pk]
    job.refresh_from_db()
    assert done == [0, 1]
    assert job.state == "cancelled" and "Nothing of it was kept" in job.message


def test_cancelled_while_it_waits_it_never_begins():
    job = ask()
    cancel_job(job)
    assert work(steps(1, pytest.fail)) == []
    job.refresh_from_db()
    assert job.state == "cancelled" and job.ended_at


def test_ended_work_is_not_cancelled():
    job = ask(state="done")
    cancel_job(job)
    job.refresh_from_db()
    assert (job.state, job.is_cancel_asked) == ("done", False)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ValidationError(["row 2: no", "row 3: no"]), "row 2: no\nrow 3: no"),
        (OSError(28, "No space left on device"), "See whether the disk is full"),
        (DatabaseError("disk I/O error"), "The database could not do this: disk I/O error"),
        (ZeroDivisionError("division by zero"), "It broke down (ZeroDivisionError)"),
    ],
)
def test_a_failure_is_said_in_words_and_undone(error, words, capsys):
    job = ask()

    def fail(number):
        raise error

    assert work(steps(1, fail)) == [job.pk]
    job.refresh_from_db()
    assert job.state == "failed" and words in job.message
    assert ("Traceback" in capsys.readouterr().err) != isinstance(error, ValidationError)


def test_one_that_fails_keeps_none_of_the_others():
    first, second = ask(), ask()

    def run(job, progress):
        if job.pk == first.pk:
            raise ValidationError("no")
        return Outcome("Done.")

    work(run)
    assert list(Job.objects.order_by("pk").values_list("state", flat=True)) == ["failed", "done"]
    assert second.pk


def test_while_another_process_is_at_it_the_others_wait():
    now = timezone.now()
    ask(state="running", started_at=now, seen_at=now)
    ask()
    assert claim_next() is None


def test_what_a_dead_process_left_is_undone_first_and_said_so():
    dead, waiting = ask(), ask()
    silent(dead)
    assert work(lambda job, progress: Outcome("Done.")) == [dead.pk]
    dead.refresh_from_db()
    waiting.refresh_from_db()
    assert dead.state == "failed" and "ended in the middle" in dead.message
    assert waiting.state == "done"


def test_cancelled_work_whose_process_died_is_cancelled():
    dead = ask(is_cancel_asked=True)
    silent(dead)
    work(steps(1))
    dead.refresh_from_db()
    assert dead.state == "cancelled"


def test_a_process_that_was_taken_for_dead_stops_and_undoes():
    job = ask()

    def taken_over(number):
        Job.objects.update(state="failed", message="said by the other")

    assert work(steps(5, taken_over)) == [job.pk]
    job.refresh_from_db()
    assert (job.state, job.message) == ("failed", "said by the other")


def test_told_to_end_it_stops_undoes_and_leaves_the_line_to_the_next():
    first, second = ask(), ask()
    assert work(steps(5, lambda number: job_line.ending.set())) == [first.pk]
    first.refresh_from_db()
    second.refresh_from_db()
    assert first.state == "failed" and "program was stopped" in first.message
    assert second.state == "waiting"


def test_failed_work_is_asked_for_again_with_its_file(alice):
    job = ask_for("tally_look", {"season": "Past"}, None, content=b"table")
    Job.objects.update(state="failed")
    job.refresh_from_db()
    again = ask_again(job, alice)
    assert (again.kind, again.params, again.asked_by) == ("tally_look", {"season": "Past"}, alice)
    assert jobs.given_file(again).read_bytes() == b"table"
    jobs.given_file(job).unlink()
    with pytest.raises(ValidationError, match="choose the file again"):
        ask_again(job, alice)


def test_a_process_is_started_at_the_commit(started, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        job = ask()
        assert started == []
    assert started == [job.key]


def test_work_that_stands_still_gets_a_process(started):
    see_to_jobs()
    job = ask()
    see_to_jobs()
    assert started == []  # one is on its way
    Job.objects.update(asked_at=timezone.now() - jobs.STARTING - timedelta(seconds=1))
    see_to_jobs()
    silent(job)
    see_to_jobs()
    assert started == [job.key, job.key]
    Job.objects.update(seen_at=timezone.now())
    see_to_jobs()
    assert len(started) == 2


def test_old_files_are_dropped_and_new_ones_kept(monkeypatch):
    old, new = (ask_for("tally_look", {}, None, content=b"x") for _number in range(2))
    now = timezone.now().timestamp()
    os.utime(jobs.given_file(old), (now, now - jobs.KEPT.total_seconds() - 1))
    ask()
    assert not jobs.given_file(old).exists() and jobs.given_file(new).exists()


def test_start_process_says_which_and_reaps_the_ended(monkeypatch):
    class Process:
        def __init__(self, command, **options):
            self.command, self.options, self.has_ended = command, options, False

        def poll(self):
            return 0 if self.has_ended else None

    monkeypatch.setattr(jobs.subprocess, "Popen", Process)
    monkeypatch.setattr(jobs, "_processes", [])
    monkeypatch.setattr(jobs, "_started_at", None)
    start_process("a-key")
    (process,) = jobs._processes
    assert process.command[-2:] == ["run_job", "a-key"] and process.options["start_new_session"]
    process.has_ended = True
    start_process("b-key")
    assert [one.command[-1] for one in jobs._processes] == ["b-key"]
