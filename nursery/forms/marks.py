"""Read a batch of marks from JSON. One bad part never keeps the others out."""

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TypeVar
from uuid import UUID

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, NumbersIn
from nursery.models import Cause, Check, Closing, Mark, State

# An enumeration makes its list of values anew at every look, and a batch looks some hundred times.
CHECK_KINDS, MARK_KINDS, CLOSING_KINDS = Check.Kind.values, Mark.Kind.values, Closing.Kind.values
STATES, CAUSES, SEEN = State.values, ["", *Cause.values], ["", *Closing.Seen.values]
VERSION = 1
MOST_PARTS = 500
MOST_REPLACED = 200
MOST_NUMBER = 9999
MOST_KNOWN = 50_000  # 1040 cells, each marked and taken back some twenty times
# Keeps a corrected time within what a database stores, whatever the device's clock said.
EARLIEST, LATEST = datetime(1990, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)

_UNSTORABLE = re.compile("[\x00\ud800-\udfff]")  # what JSON can say and a database cannot keep

_Part = TypeVar("_Part", CheckIn, MarkIn, ClosingIn, NumbersIn)


class MalformedBatch(ValueError):
    """The envelope cannot be read; nothing of it was taken in."""


class MalformedPart(ValueError):
    """One part cannot be read; the message names the field."""


def read_batch(body: bytes) -> Batch:
    """Return the batch in ``body``; MalformedBatch names what is wrong with its envelope."""
    data = _envelope(body)
    try:
        batch = Batch(sent_at=instant_of(data, "sent_at"), device=_uuid_or_none(data, "device"))
        worker = _uuid_or_none(data, "worker")
    except MalformedPart as error:
        raise MalformedBatch(str(error)) from error
    batch.checks = _parts(data, "checks", batch, lambda part: _check(part, worker))
    batch.marks = _parts(data, "marks", batch, lambda part: _mark(part, worker))
    batch.closings = _parts(data, "closings", batch, lambda part: _closing(part, worker))
    batch.numbers = _parts(data, "numbers", batch, _numbers)
    return batch


def _envelope(body: bytes) -> dict[str, Any]:
    try:
        data = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise MalformedBatch("The body is no JSON.") from error
    if not isinstance(data, dict):
        raise MalformedBatch("The body must be a JSON object.")
    if data.get("v") != VERSION:
        raise MalformedBatch(f"v must be {VERSION}. Reload the page to get the present version.")
    return data


def _parts(
    data: dict[str, Any], name: str, batch: Batch, read: Callable[[dict[str, Any]], _Part]
) -> list[_Part]:
    raw = data.get(name, [])
    if not isinstance(raw, list):
        raise MalformedBatch(f"{name} must be a list.")
    if len(raw) > MOST_PARTS:
        raise MalformedBatch(f"{name} holds {len(raw)} parts; send at most {MOST_PARTS} at once.")
    parts: list[_Part] = []
    for index, part in enumerate(raw):
        try:
            if not isinstance(part, dict):
                raise MalformedPart("must be an object")
            parts.append(read(part))
        except MalformedPart as error:
            uuid = part.get("uuid") if isinstance(part, dict) else None
            batch.refused[str(uuid or f"{name}[{index}]")[:64]] = f"{name}[{index}]: {error}"
    return parts


def _check(part: dict[str, Any], worker: UUID | None) -> CheckIn:
    return CheckIn(
        uuid=uuid_of(part, "uuid"),
        flat_code=text_of(part, "flat", 7).upper(),
        opened_at=instant_of(part, "opened_at"),
        kind=_choice(part, "kind", CHECK_KINDS, default="whole"),
        seen_places=_places(part),
        cause=_choice(part, "cause", CAUSES, default=""),
        worker=_uuid_or_none(part, "worker") or worker,
    )


def _mark(part: dict[str, Any], worker: UUID | None) -> MarkIn:
    place_no, graft_no = _cell(part)
    mark = MarkIn(
        uuid=uuid_of(part, "uuid"),
        check=uuid_of(part, "check"),
        place_no=place_no,
        graft_no=graft_no,
        kind=_choice(part, "kind", MARK_KINDS, default="seen"),
        state=_choice(part, "state", STATES),
        cause=_choice(part, "cause", CAUSES, default=""),
        reason=text_of(part, "reason", 200, default=""),
        replaces=_uuids(part, "replaces", MOST_REPLACED),
        at=instant_of(part, "at"),
        worker=_uuid_or_none(part, "worker") or worker,
    )
    if mark.state == State.UNMARKED and mark.kind != Mark.Kind.UNDO:
        raise MalformedPart("state unmarked goes with kind undo only")
    return mark


def _closing(part: dict[str, Any], worker: UUID | None) -> ClosingIn:
    closing = ClosingIn(
        uuid=uuid_of(part, "uuid"),
        check=uuid_of(part, "check"),
        at=instant_of(part, "at"),
        kind=_choice(part, "kind", CLOSING_KINDS, default="close"),
        replaces=_uuids(part, "replaces", MOST_REPLACED),
        known=_uuids(part, "known", MOST_KNOWN) if part.get("known") is not None else None,
        cause=_choice(part, "cause", CAUSES, default=""),
        reason=text_of(part, "reason", 200, default=""),
        seen=_choice(part, "seen", SEEN, default=""),
        seen_places=_places(part),
        worker=_uuid_or_none(part, "worker") or worker,
    )
    if closing.seen and closing.kind != Closing.Kind.CLOSE:
        raise MalformedPart("seen goes with kind close only")
    if closing.seen_places and closing.seen != Closing.Seen.PART:
        raise MalformedPart("seen_places goes with seen part only")
    return closing


def _numbers(part: dict[str, Any]) -> NumbersIn:
    run = part.get("run")
    return NumbersIn(
        check=uuid_of(part, "check"),
        run=run if type(run) is int and 1 <= run <= MOST_NUMBER else uuid_of(part, "run"),
        dead=_number(part, "dead"),
        wilting=_number(part, "wilting", default=0),
    )


def _places(part: dict[str, Any]) -> tuple[int, ...]:
    places = part.get("seen_places") or []
    if not isinstance(places, list) or not all(type(p) is int and 1 <= p <= 2000 for p in places):
        raise MalformedPart("seen_places must be a list of place numbers")
    return tuple(sorted(set(places)))


def _number(part: dict[str, Any], name: str, *, default: int | None = None) -> int:
    number = part.get(name, default)
    if type(number) is not int or not 0 <= number <= MOST_NUMBER:
        raise MalformedPart(f"{name} must be a whole number from 0 to {MOST_NUMBER}")
    return number


def _cell(part: dict[str, Any]) -> tuple[int, int]:
    """Read a public cell id: "17", or "17.2" for the second graft in place 17."""
    text = str(part.get("cell", ""))
    place, dot, graft = text.partition(".")
    numbers = [place, graft] if dot else [place, "1"]
    if not all(number.isascii() and number.isdigit() and 1 <= len(number) <= 4 for number in numbers):
        raise MalformedPart(f"cell must be a place number such as 17 or 17.2, got {text[:20]!r}")
    return int(numbers[0]), int(numbers[1])


def uuid_of(part: dict[str, Any], name: str) -> UUID:
    try:
        return UUID(part[name])
    except KeyError as error:
        raise MalformedPart(f"{name} is missing") from error
    except (TypeError, ValueError, AttributeError) as error:
        raise MalformedPart(f"{name} must be a UUID") from error


def _uuid_or_none(part: dict[str, Any], name: str) -> UUID | None:
    return uuid_of(part, name) if part.get(name) else None


def _uuids(part: dict[str, Any], name: str, most: int) -> tuple[str, ...]:
    raw = part.get(name) or []
    if not isinstance(raw, list) or len(raw) > most:
        raise MalformedPart(f"{name} must be a list of at most {most} UUIDs")
    try:
        return tuple(sorted({str(UUID(uuid)) for uuid in raw}))
    except (TypeError, ValueError, AttributeError) as error:
        raise MalformedPart(f"{name} must be a list of UUIDs") from error


def instant_of(part: dict[str, Any], name: str) -> datetime:
    try:
        instant = datetime.fromisoformat(part[name])
    except KeyError as error:
        raise MalformedPart(f"{name} is missing") from error
    except (TypeError, ValueError) as error:
        raise MalformedPart(f"{name} must be a time such as 2026-03-12T10:00:00.000Z") from error
    if instant.tzinfo is None:
        raise MalformedPart(f"{name} must name its zone, for example Z")
    return min(max(instant, EARLIEST), LATEST).astimezone(UTC)


def _choice(part: dict[str, Any], name: str, choices: list[str], *, default: str | None = None) -> str:
    value = part.get(name, default)
    if value is None and default is not None:
        return default
    if not isinstance(value, str) or value not in choices:
        raise MalformedPart(f"{name} must be one of {', '.join(filter(None, choices))}")
    return value


def text_of(part: dict[str, Any], name: str, most: int, *, default: str | None = None) -> str:
    value = part.get(name, default)
    if not isinstance(value, str) or len(value) > most or _UNSTORABLE.search(value):
        raise MalformedPart(f"{name} must be a text of at most {most} characters")
    return value


READERS: dict[str, Callable[[dict[str, Any], UUID | None], CheckIn | MarkIn | ClosingIn | NumbersIn]] = {
    "checks": _check,
    "marks": _mark,
    "closings": _closing,
    "numbers": lambda part, worker: _numbers(part),
}
