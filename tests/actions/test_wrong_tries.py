"""Many tries at once: an honest crew gets in, and who guesses gains nothing."""

import threading
import time

import pytest

from nursery.actions import wrong_tries
from nursery.actions.wrong_tries import FREE_TRIES, tries_for

pytestmark = pytest.mark.sqlite  # about the data folder


def at_once(number, password_of):
    """Let ``number`` browsers try at the same moment; return (waits, how many passwords were looked at)."""
    waits, looked, start = [], [], threading.Barrier(number)

    def try_it(position):
        tries = tries_for("alice", address="192.0.2.1")
        start.wait()
        wait = tries.begin()
        waits.append(wait)
        if wait:
            return
        looked.append(position)
        time.sleep(0.03)  # a password is hashed
        if password_of(position) == "right":
            tries.was_right()
        else:
            tries.was_wrong()

    threads = [threading.Thread(target=try_it, args=[position]) for position in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    return waits, len(looked)


def test_a_crew_that_starts_its_tablets_together_gets_in():
    assert at_once(12, lambda _position: "right") == ([0] * 12, 12)


def test_no_more_guesses_are_looked_at_at_once_than_one_after_the_other():
    waits, looked = at_once(12, lambda _position: "wrong")
    assert looked == FREE_TRIES and sorted(waits)[FREE_TRIES:] == [30] * (12 - FREE_TRIES)


def test_a_try_that_never_ended_is_not_waited_for_long(monkeypatch):
    for _ in range(FREE_TRIES):
        assert tries_for("alice", address="192.0.2.1").begin() == 0
    monkeypatch.setattr(wrong_tries, "LOOKS", 2)
    assert tries_for("alice", address="192.0.2.1").begin() == 1
    now = time.time()
    monkeypatch.setattr(wrong_tries.time, "time", lambda: now + wrong_tries.UNDER_WAY_FOR_S + 1)
    assert tries_for("alice", address="192.0.2.1").begin() == 0
