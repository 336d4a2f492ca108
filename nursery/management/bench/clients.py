"""A batch of marks beside a view that stores one row, at 1, 8 and 32 clients, through the server."""

import time
from collections.abc import Iterator

from nursery.management.bench.asking import Asker
from nursery.management.bench.book import make_flats, opened_check
from nursery.management.bench.figures import Measured, Row, percentile
from nursery.management.bench.load import CLIENTS, Client
from nursery.management.bench.servers import free_port, granian, running
from nursery.models import Flat

CLIENT_COUNTS = (1, 8, CLIENTS)


def measure_clients(*, seconds: float, repeats: int) -> Iterator[Row]:
    """Yield for 1, 8 and 32 clients what a batch of ten costs beside a view that stores one row."""
    asker, port = Asker.logged_in(), free_port()
    each = seconds / (2 * repeats * len(CLIENT_COUNTS))
    flats = iter(make_flats(round(CLIENTS * repeats * len(CLIENT_COUNTS) * max(3, each * 8))))
    check_id, cell_id = opened_check(next(flats))
    floor = {"check": check_id, "cell": cell_id}
    with running(granian("nursery.management.bench.floor_wsgi:application", port), port):
        for count in CLIENT_COUNTS:
            sides: tuple[list[float], list[float]] = ([], [])
            failed = 0
            for _repeat in range(repeats):
                for side, target in zip(sides, (None, floor), strict=True):
                    share = [
                        [next(flats) for _n in range(max(3, round(each * 8)))] for _client in range(count)
                    ]
                    waits, wrong = _together(asker, port, share, seconds=each, floor=target)
                    side.append(percentile(waits, 0.5))
                    failed += wrong
            yield Row(
                f"batch-10-clients-{count}",
                f"a batch of 10 marks / a view that stores one row, {count} at once, median wait",
                Measured("ms", tuple(sides[0])), Measured("ms", tuple(sides[1])),
                more={"failed": failed}, note="the clients share the machine's processors with the server",
            )  # fmt: skip


def _together(
    asker: Asker, port: int, share: list[list[Flat]], *, seconds: float, floor: dict[str, int] | None
) -> tuple[list[float], int]:
    """Let clients mark their flats at once; return how long each batch took and how many failed."""
    until = time.monotonic() + seconds
    clients = [Client(asker, port, flats, until, floor=floor) for flats in share]
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    failed = sum(sum(client.statuses.values()) - client.statuses["200"] for client in clients)
    return [wait for client in clients for wait in client.waits], failed
