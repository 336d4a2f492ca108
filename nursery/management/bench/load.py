"""Thirty-two clients that mark at once, through the server as it is started by default."""

import http.client
import json
import threading
import time
import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from nursery.actions.recount import differences
from nursery.management.bench.asking import Asker
from nursery.management.bench.book import batch_data, check_data, make_flats
from nursery.management.bench.figures import Goal, Measured, Row, percentile
from nursery.management.bench.servers import free_port, granian, running
from nursery.models import Flat, Mark

CLIENTS = 32
SIZE = 10
PLACES = 72


class Client(threading.Thread):
    """A tablet that marks one flat after the other, ten cells at a time, over one connection.

    With a ``floor`` the view of that address reads the same batches and stores one row.
    """

    def __init__(
        self,
        asker: Asker,
        port: int,
        flats: Sequence[Flat],
        until: float,
        *,
        floor: dict[str, int] | None = None,
    ) -> None:
        super().__init__(daemon=True)
        self.asker, self.port, self.flats, self.until, self.floor = asker, port, flats, until, floor
        self.waits: list[float] = []
        self.statuses: Counter[str] = Counter()
        self.acknowledged = 0

    def run(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        device = str(uuid.uuid4())
        for flat in self.flats:
            check = check_data(flat)
            for first in range(1, PLACES, SIZE):
                if time.monotonic() >= self.until:
                    return
                places = range(first, min(first + SIZE, PLACES + 1))
                batch = batch_data(check, places, device, is_first=first == 1)
                self._send(connection, batch | ({"floor": self.floor} if self.floor else {}))

    def _send(self, connection: http.client.HTTPConnection, batch: dict[str, Any]) -> None:
        cookies = "; ".join(f"{name}={value}" for name, value in self.asker.cookies.items())
        headers = {"Content-Type": "application/json", "Cookie": cookies}
        headers["X-CSRFToken"] = self.asker.cookies["csrftoken"]
        began = time.perf_counter()
        try:
            address = "/floor/insert" if self.floor else "/api/marks"
            connection.request("POST", address, json.dumps(batch), headers)
            answer = connection.getresponse()
            said = json.loads(answer.read()) if answer.status == 200 else {}
            self.statuses[str(answer.status)] += 1
        except (OSError, http.client.HTTPException) as error:
            self.statuses[type(error).__name__] += 1
            connection.close()
            return
        self.waits.append((time.perf_counter() - began) * 1000)
        results = said.get("results", {})
        marks = [mark["uuid"] for mark in batch["marks"]]
        self.acknowledged += sum(results.get(mark, {}).get("status") == "stored" for mark in marks)


def measure_load(*, seconds: float, repeats: int) -> Iterator[Row]:
    """Yield the tail of a batch of ten at 32 clients, and what failed while they wrote."""
    port = free_port()
    p50s, p99s, batches = [], [], 0
    statuses: Counter[str] = Counter()
    acknowledged, before = 0, Mark.objects.count()
    flats, asker = make_flats(CLIENTS * max(2 * repeats, round(seconds / 2))), Asker.logged_in()
    with running(granian("nursery.served:application", port), port):
        for repeat in range(repeats):
            part = flats[repeat::repeats]
            until = time.monotonic() + seconds / repeats
            clients = [Client(asker, port, part[number::CLIENTS], until) for number in range(CLIENTS)]
            for client in clients:
                client.start()
            for client in clients:
                client.join()
            waits = [wait for client in clients for wait in client.waits]
            p50s.append(percentile(waits, 0.5))
            p99s.append(percentile(waits, 0.99))
            batches += len(waits)
            for client in clients:
                statuses += client.statuses
                acknowledged += client.acknowledged
    yield Row(
        "tail-32", "99th percentile / median of a batch of 10 marks at 32 clients, default server",
        Measured("ms", tuple(p99s)), Measured("ms", tuple(p50s)), Goal(3),
        more={"batches": batches, "batches_a_second": round(batches / seconds, 1), "clients": CLIENTS},
        note="the clients share the machine's processors with the server",
    )  # fmt: skip
    yield _lock_errors(statuses, acknowledged, Mark.objects.count() - before, seconds=seconds)


def _lock_errors(statuses: Counter[str], acknowledged: int, stored: int, *, seconds: float) -> Row:
    failed = sum(statuses.values()) - statuses["200"]
    wrong = list(differences())
    return Row(
        "lock-errors", f"batches that failed, of 32 writers in {seconds:g} s; counts against a recount",
        Measured("failed", (float(failed + len(wrong) + abs(stored - acknowledged)),)),
        goal=Goal(0),
        more={"answers": dict(statuses), "marks_acknowledged": acknowledged, "marks_stored": stored,
              "counts_that_differ": wrong[:5]},
        note="batches not answered by 200, marks lost or doubled and counts that differ, added up",
    )  # fmt: skip
