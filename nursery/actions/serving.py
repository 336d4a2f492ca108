"""Bring the program up: an address, a port that is free, a server with a bounded number of threads."""

import errno
import io
import multiprocessing
import socket
from pathlib import Path
from typing import Any

from django.db import connection, connections

# A documentation address (RFC 5737). Nothing is sent to it: the kernel only says by which of its own
# addresses it would go there.
_FAR_AWAY = ("192.0.2.1", 9)
_EVERYWHERE = {"0.0.0.0", "::"}
_SECONDS_TO_STOP = 5


class CannotServe(Exception):
    """What keeps the server from listening, as one sentence with its remedy."""


def lan_address(host: str) -> str | None:
    """Return the address by which others on the network reach this machine, or None if there is none."""
    if host not in _EVERYWHERE:
        return None if host in {"localhost", "::1"} or host.startswith("127.") else host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_FAR_AWAY)
        except OSError:
            return None
        address = str(probe.getsockname()[0])
    return None if address.startswith("127.") else address


def http_address(host: str, port: int) -> str:
    """Return the address to type into a browser."""
    return _address("http", host, None if port == 80 else port)


def https_address(host: str, port: int) -> str:
    """Return the address to type into a browser where the program speaks HTTPS."""
    return _address("https", host, None if port == 443 else port)


def _address(scheme: str, host: str, port: int | None) -> str:
    name = f"[{host}]" if ":" in host else host
    return f"{scheme}://{name}" if port is None else f"{scheme}://{name}:{port}"


def ensure_port_is_free(host: str, port: int, *, option: str = "--port") -> None:
    """Raise CannotServe if nothing can listen there; ``option`` is the one that says the port."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        with socket.socket(family) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host, port))
    except OverflowError as error:
        raise CannotServe(f"{option} {port}: a port lies between 1 and 65535.") from error
    except OSError as error:
        raise CannotServe(_why_not(error, host, port, option)) from error


def _why_not(error: OSError, host: str, port: int, option: str) -> str:
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} is in use: end the program that has it, or choose another, as {option} {port + 1}."
        )
    if error.errno == errno.EACCES:
        return f"Port {port} is kept for the system: choose one above 1023, as with {option} {port + 8000}."
    return f"--host {host} is no address of this machine ({error.strerror}): leave it out to listen on all."


def qr_as_text(address: str) -> str:
    """Return a QR symbol of half blocks in lines, to be shown dark on light."""
    import qrcode  # loads what draws pictures, for which no tap shall wait

    symbol = qrcode.QRCode()
    symbol.add_data(address)
    lines = io.StringIO()
    symbol.print_ascii(out=lines)
    return lines.getvalue()


def web_server(host: str, port: int, *, certificate: Path | None = None) -> Any:
    """Return the server, whose ``serve`` answers requests until SIGTERM or Ctrl-C.

    With a certificate (a file that holds its key as well) it speaks HTTPS. Workers read that file when they
    begin; ``signal_handler_reload`` lets new ones take over from the old without a gap.

    SQLite has one writer at a time, so one worker with one thread gives the shortest waits; on PostgreSQL
    two workers with four threads hold eight connections. Both are bounded on purpose.
    """
    from granian import Granian
    from granian.constants import Interfaces
    from granian.log import LogLevels

    workers, threads = (1, 1) if connection.vendor == "sqlite" else (2, 4)
    connections.close_all()
    # A fresh process: it holds nothing of what migrating or loading the demonstration farm imported.
    multiprocessing.set_start_method("spawn", force=True)
    return Granian(
        "nursery.served:application",
        address=host,
        port=port,
        interface=Interfaces.WSGI,
        workers=workers,
        blocking_threads=threads,
        websockets=False,
        log_level=LogLevels.warning,
        workers_kill_timeout=_SECONDS_TO_STOP,
        respawn_failed_workers=True,
        ssl_cert=certificate,
        ssl_key=certificate,
    )
