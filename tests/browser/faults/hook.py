"""What the tests' server does wrong, and when: a file beside its book has one word for each batch that comes.

=========  =============================================================================================
kill       take the batch in, and be killed (SIGKILL) after the commit and before the answer
kill-first be killed before the batch is looked at
lost       take the batch in, and cut the connection instead of answering
hold       take the batch in, and answer a second late
hold-long  the same, three seconds late
500, 503   answer with that status and take nothing in
full       let the book's disk be full while the batch is taken in
ok         nothing; so that the next word is for the next batch
=========  =============================================================================================
"""

import contextlib
import json
import os
import signal
import socket
import threading
import time

MARKS = "/api/marks"
HOLD_S = {"hold": 1, "hold-long": 3}


class Plan:
    """The words in the file, each of which is used once."""

    def __init__(self, path):
        self.path, self.lock = path, threading.Lock()

    def next(self):
        with self.lock:
            try:
                words = json.loads(self.path.read_text())
            except (OSError, ValueError):
                return "ok"
            first, rest = (words[0], words[1:]) if words else ("ok", [])
            write_plan(self.path, rest)
            return first


def write_plan(path, words):
    beside = path.with_suffix(f".{os.getpid()}")  # the tests and the server may write at once
    beside.write_text(json.dumps(words))
    beside.replace(path)


class Faulty:
    """The program, which goes wrong as planned. How each batch was answered is noted, a line each."""

    def __init__(self, application, plan, log):
        self.application, self.plan, self.log = application, Plan(plan), log

    def __call__(self, environ, start_response):
        if environ["PATH_INFO"] != MARKS:
            return self.application(environ, start_response)
        word = self.plan.next()
        if word in ("500", "503"):
            return self._refuse(word, start_response)
        if word == "kill-first":
            os.kill(os.getpid(), signal.SIGKILL)
        with self._full_disk() if word == "full" else contextlib.nullcontext():
            answer, status = self._answer(environ, start_response)
        self._note(word, status)
        if word == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        time.sleep(HOLD_S.get(word, 0))
        if word == "lost":
            environ["faults.connection"].shutdown(socket.SHUT_RDWR)
            raise ConnectionAbortedError
        return answer

    def _answer(self, environ, start_response):
        said = []

        def start(status, headers, exc_info=None):
            said.append(status)
            return start_response(status, headers, exc_info)

        answer = self.application(environ, start)
        return answer, said[0]

    def _refuse(self, status, start_response):
        self._note(status, status)
        body = json.dumps({"error": "busy" if status == "503" else "failed", "message": ""}).encode()
        headers = [("Content-Type", "application/json"), ("Content-Length", str(len(body)))]
        start_response(f"{status} Trouble", headers)
        return [body]

    def _note(self, word, status):
        with self.log.open("a") as file:
            file.write(json.dumps([word, status[:3]]) + "\n")

    @contextlib.contextmanager
    def _full_disk(self):
        """SQLite itself says that the disk is full: its file may not grow."""
        from django.db import connection

        with connection.cursor() as cursor:
            most = cursor.execute("PRAGMA max_page_count").fetchone()[0]
            cursor.execute("PRAGMA max_page_count = 1")  # it never falls below what is there
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute(f"PRAGMA max_page_count = {most}")
