"""``manage.py start`` as a process of its own, for the tests that need the real thing."""

import contextlib
import http.cookiejar
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
SECONDS_TO_START = 60


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def environment(**extra):
    """The environment without what a developer may have set for Takebook."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("TAKEBOOK_", "DATABASE_", "DJANGO_"))}
    return {**kept, "PYTHONUNBUFFERED": "1", "PYTHONWARNINGS": "default", **extra}


def start_command(*arguments):
    return [sys.executable, str(ROOT / "manage.py"), "start", "--host", "127.0.0.1", *map(str, arguments)]


def start_and_fail(*arguments, **extra):
    """Run a start that is expected to end by itself."""
    return subprocess.run(
        start_command(*arguments),
        capture_output=True,
        text=True,
        timeout=SECONDS_TO_START,
        env=environment(**extra),
    )


class Server:
    """A running program: ``ask`` it for pages, read what it ``said``, ``stop`` it."""

    def __init__(self, process, port, said):
        self.process, self.port, self.said = process, port, said
        jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        self.opener = urllib.request.build_opener(jar)

    def ask(self, path, form=None):
        """Return status, address and body; ``form`` is posted with the token of the page before it."""
        data = urllib.parse.urlencode(form).encode() if form else None
        try:
            answer = self.opener.open(f"http://127.0.0.1:{self.port}{path}", data, timeout=20)
        except urllib.error.HTTPError as error:
            answer = error
        return answer.status, urllib.parse.urlsplit(answer.url).path, answer.read().decode()

    def send(self, path, **form):
        """Fill in and post the form of a page."""
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', self.ask(path)[2])[1]
        return self.ask(path, {"csrfmiddlewaretoken": token, **form})

    def stop(self, sign=signal.SIGTERM):
        """Signal the process and return its exit code and everything it wrote.

        Ctrl-C goes to the whole group, as from a terminal.
        """
        if sign == signal.SIGINT:
            os.killpg(self.process.pid, sign)
        else:
            self.process.send_signal(sign)
        rest, _nothing = self.process.communicate(timeout=20)
        return self.process.returncode, "".join(self.said) + rest


@contextlib.contextmanager
def running(*arguments, port=None, **extra):
    """Start the program, on a free port unless one is given, and yield it once it answers."""
    port = port or free_port()
    process = subprocess.Popen(
        start_command("--port", port, *arguments),
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment(**extra),
        start_new_session=True,
    )  # fmt: skip
    try:
        said = list(iter_until(process, "Ctrl-C ends"))
        wait_for(process, port)
        yield Server(process, port, said)
    finally:
        if process.poll() is None:
            process.terminate()
            process.communicate(timeout=20)
        process.stdout.close()


def iter_until(process, last):
    for line in process.stdout:
        yield line
        if last in line:
            return


def wait_for(process, port):
    end = time.monotonic() + SECONDS_TO_START
    while process.poll() is None and time.monotonic() < end:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.05)
    raise AssertionError(f"the program did not start: {process.stdout.read()}")
