"""What happens at the server: restarted, killed, answers lost, logins ended, flats changed meanwhile."""

import json
import re
import threading

import pytest
from django.utils import timezone

BUSY = ["503"] * 60
NO_LOCKS = "delete Navigator.prototype.locks"  # as on plain http
EACH_FOR_ITSELF = "LockManager.prototype.request = (_name, _options, work) => work({})"


def cells(farm):
    return sorted(mark["cell"] for mark in farm.look("marks"))


# --- the process


def test_a_server_that_is_restarted(farm, tablet, came_once):
    tablet.opens(farm.codes[0]).taps(5).drains()
    farm.stop()
    waiting = tablet.taps(6, 7).waits(2).says("2 marks waiting").waiting()
    assert cells(farm) == ["5"]
    farm.start()
    tablet.taps(8).drains().says("All saved")
    assert cells(farm) == ["5", "6", "7", "8"]
    assert {mark["uuid"] for mark in waiting} < {mark["uuid"] for mark in farm.look("marks")}
    assert farm.look("proof") == []


@pytest.mark.parametrize(
    ("fault", "stored"), [("kill", 3), ("kill-first", 0)], ids=["after the commit", "before"]
)
def test_a_server_killed_in_the_middle_of_a_request(farm, tablet, came_once, fault, stored):
    farm.plan(*BUSY)
    before = tablet.opens(farm.codes[0]).taps(5, 6, 7).waits(3).waiting()
    farm.plan(fault)
    tablet.hurries()
    farm.died()
    assert len(farm.look("marks")) == stored
    tablet.waits(3)
    farm.start()
    tablet.drains().waits(0).says("All saved")
    came_once(*before)


def test_an_answer_that_was_lost_after_the_server_had_stored(farm, tablet, came_once):
    farm.plan(*BUSY)
    before = tablet.opens(farm.codes[0]).taps(5, 6, 7).waits(3).waiting()
    farm.plan("lost", "lost", *BUSY)
    tablet.hurries().page.wait_for_timeout(1500)
    tablet.waits(3)
    assert len(farm.look("marks")) == 3
    farm.plan()
    tablet.drains().waits(0)
    assert ("lost", "200") in farm.batches
    came_once(*before)


@pytest.mark.parametrize("fault", ["500", "503"])
def test_a_server_in_trouble(farm, tablet, came_once, fault):
    farm.plan(*[fault] * 60)
    before = tablet.opens(farm.codes[0]).taps(5, 6).waits(2).says("2 marks waiting").waiting()
    tablet.hurries().page.wait_for_timeout(300)
    assert farm.look("marks") == []
    farm.plan()
    tablet.drains().waits(0)
    came_once(*before)


def test_a_server_whose_disk_is_full_says_so(farm, tablet, came_once):
    farm.plan(*BUSY)
    tablet.opens(farm.codes[0])
    for button in ("[data-all]", "#check-undo", "[data-all]"):
        tablet.touches(button).settles()
    before = tablet.waits(216).waiting()
    farm.plan(*["full"] * 60)
    tablet.hurries().says("Not sent: the farm's computer has no room left")
    assert ("full", "507") in farm.batches
    taken = len(farm.look("marks"))
    assert taken < 216
    tablet.waits(216 - taken)
    farm.plan()
    tablet.drains().waits(0).says("All saved")
    came_once(*before)


# --- twice, and in disorder


def test_the_same_batch_twice_and_at_once(farm, tablet, came_once):
    before = tablet.opens(farm.codes[0]).touches('[data-row="B"]').settles().drains()
    marks = [part["part"] for part in before.parts() if part["noun"] == "marks"]
    batch = next(batch for batch in tablet.batches if json.loads(batch)["marks"])
    answers = []

    def send():
        answers.append(farm.post(batch, session))

    session = farm.look("log_in", username="bob")
    threads = [threading.Thread(target=send) for _n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    said = {result["status"] for _status, answer in answers for result in answer["results"].values()}
    assert ([status for status, _answer in answers], said) == ([200] * 4, {"known"})
    came_once(*marks)


def test_two_tabs_that_cannot_agree_send_the_same_at_once(farm, tablet, came_once):
    tablet.context.add_init_script(EACH_FOR_ITSELF)
    first = tablet.opens(farm.codes[0]).page
    tablet.new_tab(closes=False).opens(farm.codes[0])
    farm.plan(*BUSY)
    before = tablet.taps(5, 6, 7).waits(3).waiting()
    farm.plan("hold-long", "hold-long")  # a tab that is not looked at takes up to a second to begin
    for page in (first, tablet.page):
        page.evaluate("window.dispatchEvent(new Event('focus'))")
    tablet.drains().waits(0)
    tablet.page.wait_for_timeout(3500)
    assert farm.batches.count(("hold-long", "200")) == 2
    named = [sorted(mark["uuid"] for mark in json.loads(batch)["marks"]) for batch in tablet.batches]
    assert named.count(sorted(mark["uuid"] for mark in before)) >= 2
    came_once(*before)


@pytest.mark.parametrize("script", ["", NO_LOCKS], ids=["by a lock", "by turns"])
def test_of_two_tabs_that_can_agree_one_sends(farm, tablet, came_once, script):
    tablet.context.add_init_script(script)
    first = tablet.opens(farm.codes[0]).page
    tablet.new_tab(closes=False).opens(farm.codes[0])
    farm.plan(*BUSY)
    before = tablet.taps(5, 6, 7).waits(3).waiting()
    tablet.page.wait_for_timeout(300)
    sent = len(tablet.batches)
    farm.plan("hold")
    for page in (first, tablet.page):
        page.evaluate("window.dispatchEvent(new Event('focus'))")
    tablet.page.wait_for_timeout(700)
    assert len(tablet.batches) - sent == 1
    tablet.drains()
    came_once(*before)


def test_batches_out_of_order(farm, tablet, came_once):
    """A mark without its check is refused, and taken in when it comes again after it."""
    tablet.opens(farm.codes[0])
    farm.plan(*BUSY)
    before = tablet.taps(5, 6, 7).touches("#check-undo").settles().touches("#check-close").waits(4).waiting()
    while not json.loads(tablet.batches[-1])["closings"]:
        tablet.hurries().page.wait_for_timeout(100)
    sent = json.loads(tablet.batches[-1])
    assert [len(sent[noun]) for noun in ("checks", "marks", "closings")] == [1, 4, 1]
    farm.plan()
    tablet.offline()
    session = farm.look("log_in", username="bob")

    def send(**parts):
        batch = {"v": 1, "device": sent["device"], "sent_at": sent["sent_at"], **parts}
        return {one["status"] for one in farm.post(batch, session)[1]["results"].values()}

    marks = sent["marks"]
    assert send(closings=sent["closings"]) == send(marks=marks[3:]) == {"refused"}
    assert send(checks=sent["checks"], marks=marks[3:]) == {"stored"}
    assert send(closings=sent["closings"]) == {"stored"}
    assert send(marks=marks[:2]) == send(marks=marks[2:3]) == {"stored"}
    assert send(marks=marks[::-1]) == {"known"}
    tablet.offline(False).page.wait_for_url("**?closed=*", timeout=30_000)
    tablet.drains().waits(0)
    came_once(*before)
    dead = {n for n, state in farm.look("states")[farm.codes[0]].items() if state == "dead"}
    assert dead == {"5", "6"}


# --- logins and tokens


def test_a_login_that_ended_and_another_person_who_logs_in(farm, tablet, came_once):
    tablet.opens(farm.codes[0])
    farm.look("end_sessions")
    before = tablet.taps(5, 6).waits(2).says("Not sent: log in again").waiting()
    assert farm.look("marks") == []
    tablet.log_in("dora").hurries().drains().waits(0).says("All saved")
    came_once(*before)
    assert {(mark["by"], mark["sent_by"]) for mark in farm.look("marks")} == {("Bob", "dora")}


def test_marks_of_before_and_after_another_person_took_the_tablet(farm, tablet, came_once):
    """The page is loaded anew under the new login, and what waited still belongs to who tapped it."""
    tablet.opens(farm.codes[0])
    farm.look("end_sessions")
    before = tablet.taps(5).says("Not sent: log in again").waits(1).waiting()
    farm.plan(*BUSY)
    before += tablet.log_in("dora").opens(farm.codes[0]).taps(6).waits(2).waiting()[1:]
    farm.plan()
    tablet.drains()
    came_once(*before)
    assert {mark["cell"]: mark["by"] for mark in farm.look("marks")} == {"5": "Bob", "6": "Dora"}


def test_a_login_that_ended_on_a_round_needs_nobody(farm, tablet, came_once):
    tablet.starts_round()
    farm.plan(*BUSY)
    before = tablet.taps(5, 6).waits(2).waiting()
    farm.look("end_sessions")
    farm.plan()
    tablet.drains().waits(0).says("All saved")
    came_once(*before)
    assert {(mark["by"], mark["sent_by"]) for mark in farm.look("marks")} == {("Bob", "bob")}


def test_a_login_without_its_csrf_cookie_does_not_stand_in_the_way_of_the_token(farm, tablet, came_once):
    tablet.starts_round()
    tablet.context.clear_cookies(name="csrftoken")
    before = tablet.taps(5, 6).drains().says("All saved").waits(0).parts()
    came_once(*(one["part"] for one in before if one["noun"] == "marks"))


def test_a_token_that_was_withdrawn(farm, tablet, came_once):
    tablet.starts_round()
    farm.look("end_sessions")
    farm.look("withdraw_tokens")
    before = tablet.taps(5, 6).says("Not sent: log in again").waits(2).waiting()
    assert farm.look("marks") == []
    tablet.log_in("bob").hurries().drains().waits(0)
    came_once(*before)


# --- the flat and the check


def test_a_flat_discarded_meanwhile(farm, tablet):
    code = farm.codes[0]
    tablet.opens(code).offline()
    before = tablet.taps(5, 6).waits(2).waiting()
    assert farm.look("discard", code=code) == 72
    tablet.offline(False).drains().waits(0)
    ours = [mark for mark in farm.look("marks") if mark["device"] == tablet.device]
    assert sorted(mark["uuid"] for mark in ours) == sorted(mark["uuid"] for mark in before)
    assert farm.look("recount") == []
    assert {farm.look("states")[code].get(cell) for cell in ("5", "6")} == {"dead"}


def test_a_check_closed_by_somebody_else_meanwhile(farm, tablet, new_tablet, came_once):
    code = farm.codes[0]
    tablet.opens(code).taps(5).drains().offline()
    check = farm.look("checks")[0]["uuid"]
    before = tablet.taps(6).waits(1).waiting()
    other = new_tablet("dora")
    other.page.goto(f"{farm.url}/{code}/check?goes_on={check}")
    other.is_drawn().touches("#check-close").page.wait_for_url("**?closed=*")
    assert [one["is_closed"] for one in farm.look("checks")] == [True]
    tablet.offline(False).drains().waits(0)
    assert cells(farm) == ["5", "6"]
    assert before[0]["uuid"] in {mark["uuid"] for mark in farm.look("marks")}
    assert farm.look("proof") == []
    tablet.page.goto(f"{farm.url}/{code}/check/{check}")
    assert "Amended after it was closed: 1 cell, last by Bob" in tablet.page.locator("main").inner_text()


def refuse(farm, tablet):
    """Let a mark of A5 be refused, and one of A6 be taken in. Return the one that was refused."""
    code = farm.codes[0]
    tablet.opens(code)
    farm.plan(*BUSY)
    mark = tablet.taps(5, 6).waits(2).waiting()[0]
    farm.look("delete_cell", code=code, place=5)
    farm.plan()
    tablet.drains().waits(0)
    assert cells(farm) == ["6"]
    assert [one["uuid"] for one in tablet.parts("refused")] == [mark["uuid"]]
    return mark


def test_a_refused_mark_stays_with_the_reason_and_is_sent_again(farm, tablet):
    mark = refuse(farm, tablet)
    farm.look("put_cell_back", code=farm.codes[0], place=5)
    tablet.reload()
    said = tablet.page.locator("#check-refused").inner_text()
    assert "There is no such cell in this flat." in said
    assert cells(farm) == ["6"]
    tablet.touches("[data-refused][data-again]").drains().waits(0)
    assert ("5", mark["uuid"]) in [(one["cell"], one["uuid"]) for one in farm.look("marks")]
    assert tablet.page.locator("#check-refused").is_hidden()
    assert farm.look("proof") == []


def test_a_refused_mark_is_let_go(farm, tablet):
    refuse(farm, tablet)
    tablet.reload().touches("[data-refused]:not([data-again])")
    tablet.page.wait_for_function("() => document.getElementById('check-refused').hidden")
    tablet.reload().drains()
    assert (tablet.parts("refused"), cells(farm)) == ([], ["6"])
    assert farm.look("proof") == []


def test_a_mark_refused_still_is_kept_when_it_is_sent_again(farm, tablet):
    """The same UUID goes round and round, and never blocks what comes after it."""
    mark = refuse(farm, tablet)
    tablet.touches("[data-refused][data-again]").drains()
    tablet.page.wait_for_function("() => !document.getElementById('check-refused').hidden")
    assert [one["uuid"] for one in tablet.parts("refused")] == [mark["uuid"]]
    tablet.taps(7).drains()
    assert cells(farm) == ["6", "7"]


def test_a_uuid_used_twice_with_other_content_is_refused_and_the_first_kept(farm, tablet, came_once):
    marks = tablet.opens(farm.codes[0]).taps(5).drains().parts()
    batch = json.loads(tablet.batches[-1])
    batch["marks"][0]["state"] = "wilting"
    _status, answer = farm.post(batch, farm.look("log_in", username="bob"))
    result = answer["results"][batch["marks"][0]["uuid"]]
    assert result["status"] == "refused"
    assert re.search("already used with other content", result["reason"])
    came_once(*(one["part"] for one in marks if one["noun"] == "marks"))


# --- clocks


def seconds_off(mark, name):
    return (timezone.datetime.fromisoformat(mark[name]) - timezone.now()).total_seconds()


@pytest.mark.parametrize("days", [-30, -3, 2, 400])
def test_a_clock_that_is_off(farm, tablet, came_once, days):
    farm.plan(*BUSY)
    tablet.opens(farm.codes[0]).clock(days=days)
    before = tablet.taps(5, 6).waits(2).waiting()
    farm.plan()
    tablet.drains().waits(0)
    came_once(*before)
    for mark in farm.look("marks"):
        assert abs(seconds_off(mark, "at")) < 60
        assert abs(seconds_off(mark, "raw_at") - days * 86_400) < 60
        assert (mark["state"], mark["is_clock_odd"]) == ("dead", False)
    assert farm.look("checks")[0]["day"] == timezone.localdate().isoformat()
    assert round(farm.look("devices")[0]["skew_ms"] / -86_400_000) == days


def test_a_clock_set_to_another_time_in_the_middle(farm, tablet, came_once):
    """What cannot be corrected is flagged, and the state and the counts are right."""
    farm.plan(*BUSY)
    tablet.opens(farm.codes[0]).clock(days=0).taps(5)
    tablet.clock(days=2).taps(6)
    tablet.clock(days=-9).taps(7)
    before = tablet.clock(days=0).taps(8).waits(4).waiting()
    farm.plan()
    tablet.drains().waits(0)
    came_once(*before)
    days = {mark["cell"]: round(seconds_off(mark, "raw_at") / 86_400) for mark in farm.look("marks")}
    assert days == {"5": 0, "6": 2, "7": -9, "8": 0}
    odd = {mark["cell"] for mark in farm.look("marks") if mark["is_clock_odd"]}
    assert odd == {"6", "7"}  # in the future, and before its grafting
    states = farm.look("states")[farm.codes[0]]
    assert [states[cell] for cell in ("5", "6", "7", "8", "9")] == ["dead"] * 4 + ["unmarked"]
