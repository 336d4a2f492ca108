"""The same against ``manage.py start`` itself, with the server that a farm runs: killed, restarted."""

import contextlib
import os
import signal
import subprocess
import sys
import time

import pytest

from tests.browser.faults.farm import Farm
from tests.browser.faults.tablet import descendants
from tests.commands.server import ROOT, environment, wait_for

BUSY = ["503"] * 60


class StartedFarm(Farm):
    """A farm whose server is the program's own."""

    process = None

    def start(self):
        program = [sys.executable, "-m", "tests.browser.faults.started", "--host", "127.0.0.1"]
        key = (self.forker.folder / "secret_key").read_text()  # else nobody would be logged in there
        self.process = subprocess.Popen(
            [*program, "--port", str(self.port)],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=ROOT,
            env=environment(TAKEBOOK_DATA=str(self.folder), TAKEBOOK_SECRET_KEY=key, PYTHONPATH=str(ROOT)),
        )  # fmt: skip
        for line in self.process.stdout:
            if "Ctrl-C ends" in line:
                break
        wait_for(self.process, self.port)
        return self

    def kill(self, sign=signal.SIGKILL):
        """The whole of it; with SIGTERM as a farm stops it."""
        if self.process is None:
            return
        for pid in descendants(self.process.pid) if sign == signal.SIGKILL else [self.process.pid]:
            with contextlib.suppress(ProcessLookupError):
                os.kill(int(pid), sign)
        self.process.wait(30)
        self.process.stdout.close()
        self.process = None


@pytest.fixture
def farm(forker, tmp_path):
    farm = StartedFarm(forker, tmp_path, flats=2)
    yield farm.start()
    farm.kill()


def test_killed_after_the_commit_its_worker_comes_back_by_itself(farm, tablet, came_once):
    farm.plan(*BUSY)
    before = tablet.opens(farm.codes[0]).taps(5, 6, 7).waits(3).waiting()
    farm.plan("kill")
    tablet.drains().waits(0).says("All saved")
    assert farm.batches[-2:] == [("kill", "200"), ("ok", "200")]
    came_once(*before)


def test_killed_whole_and_stopped_and_started_again(farm, tablet, came_once):
    tablet.opens(farm.codes[0])
    farm.plan("hold")
    tablet.taps(5).hurries()
    while not farm.batches:  # it has stored the mark, and holds the answer back
        time.sleep(0.02)
    farm.kill()
    assert len(farm.look("marks")) == 1
    tablet.waits(1).taps(6).waits(2)
    farm.start().stop()
    tablet.taps(7).says("3 marks waiting")
    before = tablet.waits(3).waiting()
    farm.start()
    tablet.drains().waits(0).says("All saved")
    came_once(*before)
