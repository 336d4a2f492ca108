"""A book and its server, which can be killed, stopped and started again at the same address."""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import urllib.error
import urllib.request
from pathlib import Path

from tests.browser.faults.hook import write_plan
from tests.commands.server import ROOT, environment, free_port

CSRF = "c" * 32
SECONDS = 30


class Forker:
    """The process that forks servers and looks into books: see forker.py."""

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="takebook-faults-"))
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.browser.faults.forker"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT,
            env=environment(TAKEBOOK_DATA=str(self.folder), PYTHONPATH=str(ROOT)),
        )  # fmt: skip
        assert json.loads(self.process.stdout.readline() or "{}") == {"ready": True}

    def ask(self, **wish):
        self.process.stdin.write(json.dumps(wish) + "\n")
        self.process.stdin.flush()
        said = json.loads(self.process.stdout.readline())
        assert "failed" not in said, said["failed"]
        return said

    def new_book(self, path):
        shutil.copy(self.folder / "takebook.sqlite3", path)

    def end(self):
        self.process.stdin.close()
        self.process.wait(SECONDS)
        self.process.stdout.close()
        shutil.rmtree(self.folder, ignore_errors=True)


class Farm:
    """A book with some flats of 72, and its server."""

    def __init__(self, forker, folder, *, flats, port=None):
        self.forker, self.folder = forker, folder
        self.port, self.pid = port or free_port(), None
        self.url = f"http://127.0.0.1:{self.port}"
        self.renew(flats=flats)

    def renew(self, *, flats):
        """Begin another book; the server is stopped."""
        self.kill()
        for old in self.folder.glob("*.*"):
            old.unlink()
        self.book = self.folder / "takebook.sqlite3"
        self.forker.new_book(self.book)
        self.codes = self.look("make_farm", flats=flats)

    def look(self, name, **given):
        """What a function of looks.py says of the book."""
        return self.forker.ask(do="run", name=name, book=str(self.book), **{"with": given})["said"]

    # --- the server

    def start(self, version=""):
        """Start it, if it does not run; ``version``: as a newer program."""
        if not self.is_up:
            wish = {"book": str(self.book), "port": self.port, "version": version}
            self.pid = self.forker.ask(do="serve", **wish)["pid"]
        return self

    @property
    def is_up(self):
        return self.pid is not None and self.forker.ask(do="is_up", pid=self.pid)["said"]

    def kill(self, sign=signal.SIGKILL):
        if self.pid is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, sign)
            self.forker.ask(do="wait", pid=self.pid)
        self.pid = None

    def stop(self):
        self.kill(signal.SIGTERM)

    def died(self):
        """Wait until the server has killed itself, as planned."""
        self.forker.ask(do="wait", pid=self.pid)
        self.pid = None

    def plan(self, *words):
        """What goes wrong with the next batches: see hook.py."""
        write_plan(self.folder / "plan.json", list(words))

    @property
    def batches(self):
        """(planned fault, status) of each batch that came so far."""
        log = self.folder / "batches.jsonl"
        return [tuple(json.loads(line)) for line in log.read_text().splitlines()] if log.exists() else []

    # --- the interface, as a script would use it

    def post(self, batch, session, token=""):
        """Send a batch; return (status, answer)."""
        body = batch if isinstance(batch, bytes) else json.dumps(batch).encode()
        headers = {"Content-Type": "application/json", "X-CSRFToken": CSRF}
        headers |= {"Cookie": f"sessionid={session}; csrftoken={CSRF}"} if session else {}
        headers |= {"Authorization": f"Bearer {token}"} if token else {}
        request = urllib.request.Request(f"{self.url}/api/marks", body, headers)
        try:
            with urllib.request.urlopen(request, timeout=SECONDS) as answer:
                return answer.status, json.loads(answer.read())
        except urllib.error.HTTPError as error:
            with error:
                return error.code, json.loads(error.read())
