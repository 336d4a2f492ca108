"""Copies that are made by themselves while the program runs."""

import re
import signal
import subprocess
import threading
import time
from datetime import UTC, datetime, timedelta

import pytest

from nursery.actions import copies_keeper
from nursery.actions.copies_state import change_state, read_state
from tests.commands.copying import good, manage
from tests.commands.server import running

pytestmark = pytest.mark.sqlite


def eventually(is_so):
    """Wait until something is so; it is an error if that takes half a minute."""
    end = time.monotonic() + 30
    while not is_so():
        assert time.monotonic() < end
        time.sleep(0.05)


def test_the_button_makes_a_copy_in_both_folders_while_the_program_runs(tmp_path):
    data, stick = tmp_path / "data", tmp_path / "stick"
    stick.mkdir()
    with running("--demo", "--data", data, "--copies", stick) as server:
        assert f"and in {stick}" in "".join(server.said)
        server.send("/login", username="grower", password="demo-farm")
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', server.ask("/copies")[2])[1]
        status, path, text = server.ask("/copies/make", {"csrfmiddlewaretoken": token})
        assert (status, path) == (200, "/copies") and "being made" in text
        eventually(lambda: list(stick.glob("*.takebook")))
        eventually(lambda: "being made" not in server.ask("/copies")[2])
        code, words = server.stop(signal.SIGINT)
    assert (code, "Traceback" in words) == (0, False)
    (made,) = (data / "copies").glob("*.takebook")
    assert made.read_bytes() == (stick / made.name).read_bytes()
    good(manage("restore", made, "--data", tmp_path / "new"))


def test_a_second_folder_that_is_missing_is_said_at_the_start(new_migrated_folder, tmp_path):
    with running("--data", new_migrated_folder(tmp_path / "data"), "--copies", tmp_path / "stick") as server:
        assert f"There is no folder {tmp_path / 'stick'}" in "".join(server.said)
    assert not (tmp_path / "stick").exists()


# --- the thread, without a server


@pytest.fixture
def data(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def made(monkeypatch):
    """Whether a copy was begun, in place of one."""
    begun = threading.Event()
    monkeypatch.setattr(copies_keeper, "_make", lambda ending: begun.set())
    monkeypatch.setattr(copies_keeper, "LOOK_EVERY_SECONDS", 0.01)
    return begun


def test_a_due_copy_is_begun_shortly_after_the_start(data, made, monkeypatch):
    monkeypatch.setattr(copies_keeper, "_is_due", lambda: True)
    with copies_keeper.keeping_copies():
        assert not made.wait(0.1)  # the first minute belongs to those who log in
    monkeypatch.setattr(copies_keeper, "SECONDS_BEFORE_FIRST", 0)
    with copies_keeper.keeping_copies():
        assert made.wait(10)


def test_what_goes_wrong_with_looking_ends_no_watch(data, made, monkeypatch, capfd):
    answers = iter([OSError("no folder"), True])

    def answer():
        if isinstance(said := next(answers), OSError):
            raise said
        return said

    monkeypatch.setattr(copies_keeper, "_is_due", answer)
    monkeypatch.setattr(copies_keeper, "SECONDS_BEFORE_FIRST", 0)
    monkeypatch.setattr(copies_keeper, "SECONDS_BETWEEN", 0.01)
    with copies_keeper.keeping_copies():
        assert made.wait(10)
    assert "no folder" in capfd.readouterr().err


def test_the_first_start_begins_the_days_without_a_copy(data, made):
    with copies_keeper.keeping_copies():
        pass
    first = read_state(data).watched_since
    with copies_keeper.keeping_copies():
        pass
    assert first and read_state(data).watched_since == first


def test_a_copy_that_broke_down_is_noted(data, settings, tmp_path):
    settings.BASE_DIR = tmp_path
    (tmp_path / "manage.py").write_text("raise SystemExit(3)")
    copies_keeper._make(threading.Event())
    assert "broke down" in read_state(data).failure


def test_ending_the_program_ends_a_copy_under_way(data, settings, tmp_path, monkeypatch):
    settings.BASE_DIR = tmp_path
    (tmp_path / "manage.py").write_text("import time; time.sleep(60)")
    begun, Popen = [], subprocess.Popen

    def popen(*arguments, **options):
        begun.append(Popen(*arguments, **options))
        return begun[-1]

    monkeypatch.setattr(copies_keeper.subprocess, "Popen", popen)
    ending = threading.Event()
    ending.set()
    copies_keeper._make(ending)
    assert begun[0].returncode == -signal.SIGTERM


@pytest.fixture
def no_closing(monkeypatch):
    """The test's connection is one with a transaction around it."""
    monkeypatch.setattr(copies_keeper.connections, "close_all", lambda: None)


@pytest.mark.usefixtures("no_closing")
def test_an_empty_book_needs_no_copy(db, data):
    assert not copies_keeper._is_due()


@pytest.mark.usefixtures("no_closing", "farm", "alice")
@pytest.mark.parametrize(("days_ago", "is_due"), [(None, True), (2, True), (0, False)])
def test_a_copy_is_due_unless_there_is_a_new_one(data, days_ago, is_due):
    if days_ago is not None:
        at = datetime.now(UTC) - timedelta(days=days_ago)
        change_state(data, kept_at=at, tried_at=at)
    assert copies_keeper._is_due() is is_due
