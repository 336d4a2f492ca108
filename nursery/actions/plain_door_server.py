"""A server of a page and of redirects, in a thread of the process that watches over the web workers.

It reads the head of a request, answers, and closes. A browser that opens a connection ahead of need and says
nothing costs a task, not a thread; how many there may be, how long and how large is bounded.
"""

import asyncio
import contextlib
import http
import socket
import threading
from collections.abc import Iterator

from nursery.actions.plain_door import Answer, Asked, Door

SECONDS_TO_SPEAK = 10.0
LARGEST_HEAD = 16 * 1024
MOST_AT_ONCE = 256
_LARGEST_BODY = 1 << 20
_ALWAYS = {"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Connection": "close"}


@contextlib.contextmanager
def open_door(host: str, port: int, door: Door) -> Iterator[None]:
    """Answer at an address until the block is left; OSError if nothing can listen there."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.create_server((host, port), family=family, backlog=128)
    loop = asyncio.new_event_loop()
    stop = asyncio.Event()
    thread = threading.Thread(target=_run, args=[loop, listening, door, stop], name="plain door", daemon=True)
    thread.start()
    try:
        yield
    finally:
        loop.call_soon_threadsafe(stop.set)
        thread.join(timeout=5)


def _run(loop: asyncio.AbstractEventLoop, listening: socket.socket, door: Door, stop: asyncio.Event) -> None:
    with contextlib.closing(loop):
        loop.run_until_complete(_serve(listening, door, stop))


async def _serve(listening: socket.socket, door: Door, stop: asyncio.Event) -> None:
    talks: set[asyncio.Task[None]] = set()

    def began(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if len(talks) >= MOST_AT_ONCE:
            writer.close()
            return
        talk = asyncio.ensure_future(_talk(door, reader, writer))
        talks.add(talk)
        talk.add_done_callback(talks.discard)

    server = await asyncio.start_server(began, sock=listening, limit=LARGEST_HEAD)
    await stop.wait()
    server.close()
    for talk in list(talks):
        talk.cancel()
    await asyncio.gather(*talks, return_exceptions=True)


async def _talk(door: Door, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Read a request, answer it, and hang up."""
    try:
        async with asyncio.timeout(SECONDS_TO_SPEAK):
            asked = await _asked(reader)
            # In a thread: a page may have to be drawn, a file read.
            answer = Answer(400) if asked is None else await asyncio.to_thread(door.answer, asked)
            writer.write(as_bytes(answer, with_body=asked is None or asked.method != "HEAD"))
            await writer.drain()
    except (OSError, TimeoutError, asyncio.IncompleteReadError, asyncio.LimitOverrunError):
        pass  # gone, silent or endless: there is nobody to tell
    finally:
        writer.close()


async def _asked(reader: asyncio.StreamReader) -> Asked | None:
    """Return what is asked, or None if it is no HTTP/1 request. What else was sent is read and dropped."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    first, *lines = head.removesuffix("\r\n\r\n").split("\r\n")
    words = first.split(" ")
    if len(words) != 3 or not words[2].startswith("HTTP/1.") or not words[0].isalpha():
        return None
    pairs = (line.partition(":") for line in lines)
    fields = {name.strip().lower(): value.strip() for name, _colon, value in pairs}
    length = fields.get("content-length", "")
    if length.isascii() and length.isdigit() and int(length) <= _LARGEST_BODY:
        # A connection closed with words unread is reset, and the answer is lost with it.
        left = int(length)
        while left and (chunk := await reader.read(min(left, LARGEST_HEAD))):
            left -= len(chunk)
    return Asked(words[0], words[1], fields.get("host", ""), fields.get("user-agent", ""))


def as_bytes(answer: Answer, *, with_body: bool = True) -> bytes:
    """Return an answer as it goes over the wire; ValueError if a header would end its line."""
    headers = {**answer.headers, **_ALWAYS, "Content-Length": str(len(answer.body))}
    if any("\r" in value or "\n" in value for value in headers.values()):
        raise ValueError("a header holds a line end")
    lines = [f"HTTP/1.1 {answer.status} {http.HTTPStatus(answer.status).phrase}"]
    lines += [f"{name}: {value}" for name, value in headers.items()]
    head = ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1")
    return head + (answer.body if with_body else b"")
