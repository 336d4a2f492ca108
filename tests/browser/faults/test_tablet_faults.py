"""What happens to the tablet: reloaded, closed, killed, without network, full; a newer program at the server.

Each time the marks that wait on the tablet are counted before, and those of the book after.
"""

import re
import shutil
import subprocess

import pytest

from tests.browser.faults.tablet import descendants

BUSY = ["503"] * 60
FILE_OF_WAITING = """async () => {
  const { Store } = await import("/static/js/tablet/store.js");
  const { waitingFile } = await import("/static/js/tablet/export.js");
  return (await waitingFile(new Store())).text();
}"""
WAITING_WORKER = "async () => Boolean((await navigator.serviceWorker.getRegistration())?.waiting)"
SHELL_IS_KEPT = "async () => Boolean(await caches.match('/check', { ignoreVary: true }))"


def until(page, script, seconds=30):
    """Wait until an asynchronous look at the page is true."""
    for _try in range(seconds * 10):
        if page.evaluate(script):
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"never true: {script}")


def on_a_round(tablet):
    tablet.starts_round()
    until(tablet.page, SHELL_IS_KEPT)
    return tablet


# --- the page and the browser


def test_a_reload(farm, tablet, came_once):
    farm.plan(*BUSY)
    before = tablet.opens(farm.codes[0]).taps(5, 6, 17).waiting()
    assert (len(before), farm.look("marks")) == (3, [])
    tablet.reload().waits(3)
    assert tablet.label(17) == "B5, dead"
    farm.plan()
    tablet.drains().says("All saved").waits(0)
    came_once(*before)


def test_a_tab_that_is_closed_and_a_new_one(farm, tablet, came_once):
    farm.plan(*BUSY)
    before = tablet.opens(farm.codes[0]).taps(5, 6).waiting()
    assert (len(before), farm.look("marks")) == (2, [])
    tablet.new_tab().opens(farm.codes[0]).waits(2)
    assert tablet.label(5) == "A5, dead"
    farm.plan()
    tablet.drains().waits(0)
    came_once(*before)


def test_a_browser_that_is_killed(farm, killable, own_browser, came_once):
    killable.opens(farm.codes[0])
    farm.kill()
    before = killable.taps(5, 6, 7).waiting()
    own_browser.kill()
    assert (len(before), farm.look("marks")) == (3, [])
    killable.use(own_browser.start())
    farm.start()
    killable.put_session_back()
    killable.opens(farm.codes[0])
    assert killable.label(5) == "A5, dead"
    killable.drains().waits(0)
    came_once(*before)


def test_a_tablet_that_starts_anew_where_no_server_is(farm, killable, own_browser, came_once):
    """Killed, and opened again offline: as after a reboot, or a battery that was pulled out."""
    on_a_round(killable).page.wait_for_timeout(500)
    farm.kill()
    code = killable.flat
    killable.taps(5, 6).waits(2)
    own_browser.kill()
    killable.use(own_browser.start())
    killable.opens(code).waits(2)
    assert killable.label(6) == "A6, dead"
    before = killable.taps(7).waiting()
    assert (len(before), farm.look("marks")) == (3, [])
    farm.start()
    killable.drains().waits(0)  # nobody is logged in any more: the round's token is enough
    came_once(*before)


# --- no network


def fly(farm, tablet):
    tablet.offline()


def stop(farm, tablet):
    farm.stop()


@pytest.mark.parametrize("part", [fly, stop], ids=["flight mode", "Wi-Fi, but no server"])
def test_a_whole_round_without_network(farm, tablet, came_once, part):
    on_a_round(tablet)
    part(farm, tablet)
    first = tablet.flat
    tablet.taps(1, 13).next_flat()
    tablet.taps(2, 14).waits(4).says("4 marks waiting")
    tablet.reload().waits(4)
    opened = type_code(tablet, next(code for code in farm.codes if code not in (first, tablet.flat)))
    opened.taps(3, 15).next_flat().next_flat()
    assert tablet.page.get_by_role("heading", level=1).inner_text() == "Round done"
    before = tablet.waits(6).waiting()
    assert farm.look("marks") == farm.look("day_counts") == []
    tablet.offline(False)
    farm.start()
    tablet.drains().waits(0).says("All saved")
    came_once(*before)
    assert [row[2:] for row in farm.look("day_counts")] == [[70, 2, True]] * 3


def type_code(tablet, code):
    tablet.touches("#round-all")
    tablet.page.locator("#round-code-field").fill(code)
    tablet.touches("#round-code button")
    tablet.page.wait_for_url(f"**/{code}/check")
    return tablet


def test_undo_and_redo_without_network(farm, tablet, came_once):
    on_a_round(tablet)
    farm.stop()
    tablet.taps(1).touches('[data-row="B"]').settles().touches("#check-undo").settles()
    before = tablet.touches("#check-undo").settles().touches("#check-redo").settles().waits(27).waiting()
    farm.start()
    tablet.drains().waits(0)
    came_once(*before)
    assert {n for n, state in farm.look("states")[tablet.flat].items() if state == "dead"} == {"1"}


# --- the disk


def test_each_mark_is_asked_to_be_on_the_disk_before_it_counts(farm, tablet):
    tablet.opens(farm.codes[0]).taps(5, 6).touches('[data-row="C"]').settles()
    assert tablet.page.evaluate("window.testDurabilities") == ["strict"] * (2 + 12 + 1)  # the check itself


@pytest.mark.skipif(not shutil.which("strace"), reason="needs strace")
def test_each_mark_is_a_sync_of_the_disk(farm, killable, own_browser, tmp_path):
    killable.opens(farm.codes[0]).taps(1).drains()
    farm.kill()
    log = tmp_path / "syncs"
    with strace(own_browser.process.pid, log):
        killable.taps(*range(2, 12))
    said = log.read_text()
    if "fdatasync" not in said and "PTRACE" in said:
        pytest.skip("no process may be watched here")
    assert len(re.findall(r"fdatasync\(\d+<[^>]*IndexedDB", said)) >= 10


class strace:
    """Writes down the disk syncs of a browser and of what it started."""

    def __init__(self, pid, log):
        self.pids, self.log = descendants(pid), log

    def __enter__(self):
        watched = [word for pid in self.pids for word in ("-p", str(pid))]
        self.file = self.log.open("w")
        self.process = subprocess.Popen(
            ["strace", "-f", "-y", "-e", "trace=fdatasync,fsync", *watched], stderr=self.file
        )
        for _try in range(100):
            if "attached" in self.log.read_text() or self.process.poll() is not None:
                return
            subprocess.run(["sleep", "0.05"], check=True)

    def __exit__(self, *_error):
        subprocess.run(["sleep", "0.3"], check=True)
        self.process.terminate()
        self.process.wait()
        self.file.close()


@pytest.mark.parametrize("how", ["throws", "aborts"])
def test_a_full_tablet_sends_at_once(farm, tablet, came_once, how):
    tablet.opens(farm.codes[0]).taps(4).drains().disk(how)
    tablet.taps(5).waits(0)
    assert tablet.label(5) == "A5, dead"
    assert [mark["cell"] for mark in farm.look("marks")] == ["4", "5"]
    tablet.disk("").taps(6).drains()
    tablet.reload()
    assert [tablet.label(cell) for cell in (4, 5, 6, 7)] == ["A4, dead", "A5, dead", "A6, dead", "A7, alive"]
    assert len(farm.look("marks")) == 3
    assert farm.look("proof") == []


@pytest.mark.parametrize("how", ["throws", "aborts"])
def test_a_full_tablet_without_network_says_so_and_unpaints(farm, tablet, came_once, how):
    tablet.opens(farm.codes[0])
    farm.stop()
    before = tablet.taps(4).waiting()
    tablet.disk(how).taps(5).says("Not saved")
    assert tablet.label(5) == "A5, alive"
    assert "this tablet has no room left" in tablet.page.locator("#check-note").inner_text()
    tablet.disk("throws at the third").touches('[data-row="B"]').settles()
    assert tablet.label(13) == "B1, alive"
    tablet.waits(1).disk("")
    before += tablet.taps(6).says("2 marks waiting").waiting()[1:]
    farm.start()
    tablet.drains().waits(0)
    came_once(*before)


def test_a_full_tablet_whose_login_has_ended_sends_with_its_token(farm, tablet):
    tablet.starts_round().taps(4).drains()
    farm.look("end_sessions")
    tablet.disk("aborts").taps(5)
    assert tablet.label(5) == "A5, dead"
    assert [mark["cell"] for mark in farm.look("marks")] == ["4", "5"]


def test_a_full_tablet_whose_check_still_waits_sends_it_along(farm, tablet):
    """The check is among what could not be sent yet, so the mark alone would not be known."""
    tablet.opens(farm.codes[0])
    farm.plan(*BUSY)
    tablet.taps(4).waits(1)
    while len(farm.batches) < 5:  # from then on it waits some seconds before it tries again by itself
        tablet.hurries().page.wait_for_timeout(100)
    farm.plan("ok", *BUSY)
    tablet.disk("aborts").taps(5)
    assert tablet.label(5) == "A5, dead"
    farm.plan()
    tablet.disk("").drains()
    assert sorted(mark["cell"] for mark in farm.look("marks")) == ["4", "5"]


# --- what else


def test_a_newer_program_while_a_round_is_open(farm, tablet, came_once):
    on_a_round(tablet)
    tablet.page.evaluate("window.isTheSamePage = true")
    before = tablet.taps(5).waiting()
    farm.kill()
    farm.start(version="newer")
    tablet.page.evaluate("async () => (await navigator.serviceWorker.getRegistration()).update()")
    until(tablet.page, WAITING_WORKER)
    before = [*before, *tablet.taps(6).next_flat().taps(7).waiting()]
    made = {mark["part"]["uuid"]: mark["part"] for mark in tablet.parts() if mark["noun"] == "marks"}
    tablet.drains().waits(0)
    assert tablet.page.evaluate("window.isTheSamePage")
    assert tablet.page.evaluate(WAITING_WORKER)
    assert len(made) == 3
    came_once(*made.values())


def test_what_waits_is_taken_in_from_a_file_where_the_tablet_never_comes_back(
    farm, tablet, tmp_path, came_once
):
    tablet.opens(farm.codes[0])
    farm.stop()
    before = tablet.taps(5, 6).touches("#check-undo").settles().waits(3).waiting()
    farm.start()
    farm.plan(*BUSY)  # so that nothing leaves by itself while the file is made
    file = tmp_path / "waiting.json"
    file.write_text(tablet.page.evaluate(FILE_OF_WAITING))
    tablet.context.close()
    assert farm.look("marks") == []
    assert farm.look("import_file", path=str(file)) == "4 parts taken in, 0 known already, 0 refused."
    came_once(*before)
    assert farm.look("import_file", path=str(file)) == "0 parts taken in, 4 known already, 0 refused."
    came_once(*before)
    assert {mark["by"] for mark in farm.look("marks")} == {"Bob"}
