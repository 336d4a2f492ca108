"""A process that has the program loaded and forks: servers that can be killed and come back at once, and
short looks into a book. It reads a line of JSON for each wish, and answers with one.

    {"do": "run", "name": "make_farm", "book": path, "with": {}}  a function of looks.py, in its own process
    {"do": "serve", "book": path, "port": 8000, "version": ""}    the program, with the faults of hook.py
    {"do": "is_up", "pid": 1} and {"do": "wait", "pid": 1}        whether a server lives; wait for its end
"""

# ruff: noqa: E402 (Django must be set up before its models are imported)

import json
import os
import signal
import sys
import traceback
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "nursery.settings")
django.setup()

from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
from django.db import connections

from nursery.actions.starting import ensure_starting_values
from nursery.views import worker
from tests.browser.faults import looks
from tests.browser.faults.hook import Faulty


class Handler(WSGIRequestHandler):
    """Says nothing, and lets the hook have the connection."""

    def get_environ(self):
        return {**super().get_environ(), "faults.connection": self.connection}

    def log_message(self, *args):
        pass


class Server(ThreadedWSGIServer):
    request_queue_size = 64

    def handle_error(self, *args):
        pass  # a browser that was killed


def use_book(book):
    connections["default"].settings_dict["NAME"] = book


def in_child(work):
    """Fork; the child does the work, says its answer on a pipe and ends. Return its pid and the pipe."""
    read, write = os.pipe()
    pid = os.fork()
    if pid:
        os.close(write)
        return pid, read
    os.close(read)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    null = os.open(os.devnull, os.O_RDWR)
    os.dup2(null, 0)
    os.dup2(null, 1)
    try:
        work(write)
    except BaseException:
        os.write(write, json.dumps({"failed": traceback.format_exc()}).encode())
    finally:
        os._exit(0)


def answer_of(read):
    with os.fdopen(read) as pipe:
        return pipe.read()


def run(name, book, given):
    def work(write):
        use_book(book)
        said = json.dumps({"said": getattr(looks, name)(**given)})
        with os.fdopen(write, "w") as pipe:
            pipe.write(said)

    pid, read = in_child(work)
    said = json.loads(answer_of(read) or "{}")
    os.waitpid(pid, 0)
    return said


def serve(book, port, version, application):
    def work(write):
        use_book(book)
        if version:
            be_version(version)
        folder = Path(book).parent
        server = Server(("127.0.0.1", port), Handler)
        server.set_app(Faulty(application, folder / "plan.json", folder / "batches.jsonl"))
        os.write(write, b'{"said": true}')
        os.close(write)
        server.serve_forever()

    pid, read = in_child(work)
    return {"pid": pid, **json.loads(answer_of(read) or "{}")}


def be_version(words):
    """Let the service worker be another one than before."""
    worker.sources_of = lambda template: {"page": words}
    worker._script.cache_clear()


def is_up(pid):
    try:
        return os.waitpid(pid, os.WNOHANG)[0] == 0
    except ChildProcessError:
        return False


def wait(pid):
    try:
        os.waitpid(pid, 0)
    except ChildProcessError:
        return True
    return True


def main():
    call_command("migrate", interactive=False, verbosity=0)
    ensure_starting_values()
    call_command("collectstatic", interactive=False, verbosity=0)
    application = WSGIHandler()
    looks.warm_up()
    connections.close_all()
    print(json.dumps({"ready": True}), flush=True)
    for line in sys.stdin:
        wish = json.loads(line)
        match wish["do"]:
            case "run":
                said = run(wish["name"], wish["book"], wish["with"])
            case "serve":
                said = serve(wish["book"], wish["port"], wish["version"], application)
            case "is_up":
                said = {"said": is_up(wish["pid"])}
            case "wait":
                said = {"said": wait(wish["pid"])}
        print(json.dumps(said), flush=True)


if __name__ == "__main__":
    main()
