"""What a worker weighs and how soon it answers, against Django with its admin alone."""

import json
import re
import sys
import urllib.request
import uuid
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings

from nursery.management.bench.asking import Asker
from nursery.management.bench.book import batch_data, check_data, make_flats
from nursery.management.bench.figures import Goal, Measured, Row
from nursery.management.bench.profiling import import_profile
from nursery.management.bench.servers import (
    free_port,
    granian,
    make_bare_project,
    own_memory_mb,
    running,
)

OURS, BARE = "nursery.served:application", "bare_wsgi:application"


def measure_worker(*, repeats: int, folder: Path) -> Iterator[Row]:
    """Yield memory and cold start, ours and Django's alone in turn."""
    bare = make_bare_project(folder / "bare")
    found: dict[str, list[float]] = {name: [] for name in ("mb", "bare_mb", "s", "bare_s", "start_s")}
    for _repeat in range(repeats):
        port = free_port()
        with running(granian(OURS, port), port) as (pid, seconds):
            _serve(port)
            found["s"].append(seconds)
            found["mb"].append(own_memory_mb(pid) or 0)
        port = free_port()
        with running(granian(BARE, port), port, folder=bare, PYTHONPATH=str(bare)) as (pid, seconds):
            for _number in range(20):
                _get(port, "/login")
            found["bare_s"].append(seconds)
            found["bare_mb"].append(own_memory_mb(pid) or 0)
        port = free_port()
        manage = [sys.executable, str(settings.BASE_DIR / "manage.py"), "start"]
        with running([*manage, "--host", "127.0.0.1", "--port", str(port)], port) as (_pid, seconds):
            found["start_s"].append(seconds)
    if all(found["mb"]) and all(found["bare_mb"]):
        yield Row(
            "memory", "memory of a worker after marks, lists and pages / Django with its admin alone",
            Measured("MB", tuple(found["mb"])), Measured("MB", tuple(found["bare_mb"])), Goal(2),
        )  # fmt: skip
    else:
        yield Row("memory", "resident memory of a worker", note="this system does not tell (no /proc)")
    cold = Row(
        "cold-start", "seconds from a new process to its first page / Django with its admin alone",
        Measured("s", tuple(found["s"])), Measured("s", tuple(found["bare_s"])), Goal(2),
        note="both served by granian; the disk is warm",
        more={"manage_py_start_s": round(Measured("s", tuple(found["start_s"])).median, 2)},
    )  # fmt: skip
    if cold.status != "met":
        cold.profile = import_profile("nursery.served, nursery.urls")
    yield cold


def _serve(port: int) -> None:
    """Let a worker do what it does all day: marks, lists, the page of a flat."""
    asker = Asker.logged_in()
    (flat,) = make_flats(1)
    check, device = check_data(flat), str(uuid.uuid4())
    for number in range(20):
        batch = batch_data(check, range(1 + number, 4 + number), device, is_first=number == 0)
        _get(port, "/api/marks", asker, json.dumps(batch).encode())
        for page in ("/", "/flats", "/bench", "/records", f"/{flat.code}", f"/{flat.code}/check"):
            assert re.search(rb"<h1", _get(port, page, asker))


def _get(port: int, path: str, asker: Asker | None = None, body: bytes | None = None) -> bytes:
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", body)
    if asker:
        request.add_header("Cookie", "; ".join(f"{name}={value}" for name, value in asker.cookies.items()))
        request.add_header("X-CSRFToken", asker.cookies["csrftoken"])
        request.add_header("Content-Type", "application/json")
    with urllib.request.urlopen(request, timeout=60) as answer:
        return bytes(answer.read())
