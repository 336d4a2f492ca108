"""Eight clients mark flats while a copy is made: every mark acknowledged before it began is in it."""

import http.client
import json
import re
import threading
import time
import urllib.parse
import uuid
from datetime import UTC, datetime

import pytest

from tests.commands.copying import good, manage, run_python
from tests.commands.server import running

pytestmark = pytest.mark.sqlite
CLIENTS = 8

FLATS = """
import django; django.setup()
from nursery.models import Flat, Run
rows = Run.objects.filter(flat__origin="marks").order_by("flat__code").distinct()
codes = sorted({run.flat.code for run in rows.select_related("flat")})
print(*codes[:8])
"""
# So much that copying takes a while.
FILL = """
import os
import django; django.setup()
from django.utils import timezone
from nursery.models import Job
for _ in range(60):
    text = os.urandom(125_000).hex()
    Job.objects.create(kind="filling", asked_at=timezone.now(), state="done", message=text)
"""
MARKS = """
import django; django.setup()
from nursery.models import Mark
print(*Mark.objects.values_list("uuid", flat=True))
"""


class Client(threading.Thread):
    """A tablet: logs in, then sends one mark after the other and notes what was acknowledged."""

    def __init__(self, port, flat, ending):
        super().__init__(daemon=True)
        self.port, self.flat, self.ending = port, flat, ending
        self.device, self.check = str(uuid.uuid4()), str(uuid.uuid4())
        self.acknowledged, self.error, self.cookies = {}, None, {}

    def run(self):
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            self.log_in()
            number = 0
            while not self.ending.is_set():
                self.mark(number)
                number += 1
        except Exception as error:
            self.error = error
        finally:
            self.connection.close()

    def ask(self, method, path, body=None, **headers):
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        self.connection.request(method, path, body, {"Cookie": cookies, **headers})
        answer = self.connection.getresponse()
        for header in answer.headers.get_all("Set-Cookie") or []:
            name, value = header.split(";")[0].split("=", 1)
            self.cookies[name] = value
        return answer.status, answer.read().decode()

    def log_in(self):
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', self.ask("GET", "/login")[1])[1]
        form = {"csrfmiddlewaretoken": token, "username": "grower", "password": "demo-farm"}
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        assert self.ask("POST", "/login", urllib.parse.urlencode(form), **kind)[0] == 302

    def mark(self, number):
        now, mark = datetime.now(UTC).isoformat(), str(uuid.uuid4())
        check = {
            "uuid": self.check,
            "flat": self.flat,
            "opened_at": now,
            "kind": "whole",
            "seen_places": None,
        }
        check |= {"cause": ""}
        said = {"uuid": mark, "check": self.check, "cell": "1", "kind": "seen", "cause": "", "reason": ""}
        said |= {"state": "wilting" if number % 2 else "firm", "replaces": [], "at": now}
        batch = {
            "v": 1,
            "device": self.device,
            "sent_at": now,
            "worker": None,
            "marks": [said],
            "closings": [],
        }
        batch["checks"] = [] if number else [check]
        status, text = self.ask(
            "POST", "/api/marks", json.dumps(batch),
            **{"Content-Type": "application/json", "X-CSRFToken": self.cookies["csrftoken"]},
        )  # fmt: skip
        assert status == 200, text
        assert json.loads(text)["results"][mark]["status"] == "stored", text
        self.acknowledged[mark] = time.monotonic()


def copy_under_load(file, **extra):
    """Let eight clients write in the demonstration farm and copy the book in their midst.

    Return the marks acknowledged before the copying began, and how many were while it was done.
    """
    run_python(FILL, **extra)
    flats = run_python(FLATS, **extra).split()
    ending = threading.Event()
    with running(**extra) as server:
        clients = [Client(server.port, flat, ending) for flat in flats]
        assert len(clients) == CLIENTS
        for client in clients:
            client.start()
        end = time.monotonic() + 60
        while min(len(client.acknowledged) for client in clients) < 3 and time.monotonic() < end:
            time.sleep(0.02)
        began = time.monotonic()
        good(manage("backup", file, **extra))
        ended = time.monotonic()
        ending.set()
        for client in clients:
            client.join(60)
    assert [client.error for client in clients] == [None] * CLIENTS
    moments = [(mark, at) for client in clients for mark, at in client.acknowledged.items()]
    meanwhile = sum(began < at <= ended for _mark, at in moments)
    print(f"{len(moments)} marks, {meanwhile} of them while the copy was made in {ended - began:.2f} s")
    return {mark for mark, at in moments if at <= began}, meanwhile


def test_every_mark_acknowledged_before_is_in_the_copy_on_sqlite(new_demo_folder, tmp_path):
    old, new, file = new_demo_folder(tmp_path / "old"), tmp_path / "new", tmp_path / "book.takebook"
    before, meanwhile = copy_under_load(file, TAKEBOOK_DATA=str(old))
    good(manage("restore", file, "--data", new))
    assert len(before) >= 3 * CLIENTS and meanwhile >= CLIENTS
    assert before <= set(run_python(MARKS, TAKEBOOK_DATA=str(new)).split())
    assert "counts agree" in good(manage("recount", TAKEBOOK_DATA=str(new)))


def test_every_mark_acknowledged_before_is_in_the_copy_on_postgresql(
    new_database, new_demo_database, tmp_path
):
    file = tmp_path / "book.takebook"
    old = {**new_demo_database(), "TAKEBOOK_DATA": str(tmp_path / "old")}
    new = {**new_database(), "TAKEBOOK_DATA": str(tmp_path / "new")}
    before, meanwhile = copy_under_load(file, **old)
    good(manage("restore", file, **new))
    assert len(before) >= 3 * CLIENTS and meanwhile >= CLIENTS
    assert before <= set(run_python(MARKS, **new).split())
    assert "counts agree" in good(manage("recount", **new))
