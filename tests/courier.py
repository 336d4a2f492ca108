"""Carries invented histories of checks to the program, as tablets with wrong clocks would send them."""

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.counting import recount_flats
from nursery.actions.marks import receive_batch
from nursery.models import Check, NumberCount
from tests.stories import uuid_of

ZONE = "Pacific/Auckland"  # far from UTC, so that a wrong zone shows
NOW = datetime(2026, 4, 2, 9, 0, tzinfo=UTC)
SKEWS = [
    timedelta(0),
    timedelta(hours=-30),
    timedelta(days=3),
    timedelta(hours=5),
]  # by device: its clock less the true time
DEVICE_IDS = [UUID(uuid_of("device", number)) for number in range(4)]


class Courier:
    """Carries parts of a history to the program, each check's on its device with that device's clock."""

    def __init__(self, flat, history):
        self.flat, self.history = flat, history
        self.receipts = []

    def clock(self, check):
        entry = self.history["checks"][check]
        true = datetime.combine(entry["day"], entry["time"], ZoneInfo(ZONE)).astimezone(UTC)
        return true + SKEWS[entry["device"]]

    def check_in(self, check):
        entry = self.history["checks"][check]
        places = tuple(entry["places"])
        return CheckIn(UUID(check), self.flat.code, self.clock(check), kind=entry["kind"], seen_places=places)

    def mark_in(self, uuid, **changed):
        mark = {**self.history["marks"][uuid], **changed}
        place_no, _, graft_no = mark["cell"].partition(".")
        return MarkIn(
            UUID(uuid),
            UUID(mark["check"]),
            int(place_no),
            int(graft_no or 1),
            mark["state"],
            self.clock(mark["check"]),
            kind=mark["kind"],
            replaces=tuple(mark["replaces"]),
        )

    def closing_in(self, uuid):
        closing = self.history["closings"][uuid]
        known = closing.get("known")
        return ClosingIn(
            UUID(uuid),
            UUID(closing["check"]),
            self.clock(closing["check"]),
            kind=closing["kind"],
            replaces=tuple(closing["replaces"]),
            known=None if known is None else tuple(known),
        )

    def check_of(self, part):
        kind, key = part
        if kind == "number":
            return key[0]
        return key if kind in {"check", "void"} else self.history[f"{kind}s"][key]["check"]

    def bring(self, parts):
        by_device = defaultdict(list)
        for part in parts:
            by_device[self.history["checks"][self.check_of(part)]["device"]].append(part)
        for device, own in by_device.items():
            self.send(device, own)
        for kind, key in parts:
            if kind == "number":
                self.write_numbers(*key)
            elif kind == "void":
                Check.objects.filter(uuid=key).update(is_void=True)
        recount_flats([self.flat.pk] if {kind for kind, _ in parts} & {"number", "void"} else [])

    def send(self, device, parts):
        batch = Batch(
            NOW + SKEWS[device],
            DEVICE_IDS[device],
            [self.check_in(self.check_of(part)) for part in parts],
            [self.mark_in(key) for kind, key in parts if kind == "mark"],
            [self.closing_in(key) for kind, key in parts if kind == "closing"],
        )
        self.receipts.append(receive_batch(batch, Sender(None, None, NOW)))

    def write_numbers(self, check, run):
        counts = self.history["numbers"][check, run]
        NumberCount.objects.get_or_create(
            check_ref=Check.objects.get(uuid=check),
            run=self.flat.runs.get(number=run),
            defaults={"dead_count": counts["dead"], "wilting_count": counts["wilting"]},
        )
