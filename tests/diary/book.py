"""The hand that writes the diary: what a grower does, in a grower's words, through the program's own actions.

Days are days of March 2026 at noon, farm time UTC. Places are said as on the flat: "B5", or "A1-A6" for a row
of them in reading order.
"""

from datetime import UTC, date, datetime
from uuid import uuid4

from django.urls import reverse

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.counting import recount_flats
from nursery.actions.marks import receive_batch
from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.actions.states import flat_states
from nursery.actions.stock import flat_stock
from nursery.models import Check, DayCount, NumberCount
from nursery.models.takes import TakeBy, take_report
from tests.factories import make_crop, make_cultivar, make_flat, make_pairing, make_run, make_session

COLUMNS = 12


def march(day, hour=12):
    return datetime(2026, 3, day, hour, tzinfo=UTC)


def place(name):
    return (ord(name[0]) - ord("A")) * COLUMNS + int(name[1:])


def places(said):
    """Return the numbers of places such as "A1-A6 B2"."""
    numbers = []
    for part in said.split():
        first, _, last = part.partition("-")
        numbers += range(place(first), place(last or first) + 1)
    return numbers


class Diary:
    """One farm's flats, and the hand of one grower."""

    def __init__(self, grower):
        self.grower = grower
        self.session = make_session()

    def pairing(self, scion, rootstock, crop="Tomato"):
        crop = make_crop(crop)
        return make_pairing(make_cultivar(scion, crop), make_cultivar(rootstock, crop))

    def flat(self, on, pairing, *runs, **fields):
        """Graft a flat of 6 by 12: each run is (worker, places)."""
        flat = make_flat()
        for worker, said in runs:
            make_run(
                flat, places=places(said), worker=worker, pairing=pairing, grafted_on=date(2026, 3, on),
                session=self.session, **fields,
            )  # fmt: skip
        return flat

    def stamp(self, on):
        return Stamp.of(march(on), account=self.grower)

    def check(self, flat, on, dead="", *, wilting="", only="", hour=12, closes=True):
        """Look at a flat, or ``only`` at some places, and tap what is dead and what wilts."""
        at = march(on, hour)
        seen = tuple(places(only))
        check = CheckIn(uuid4(), flat.code, at, kind="part" if only else "whole", seen_places=seen)
        marks = [*self._taps(flat, check, dead, "dead"), *self._taps(flat, check, wilting, "wilting")]
        closings = [ClosingIn(uuid4(), check.uuid, at)] if closes else []
        receive_batch(Batch(at, None, [check], marks, closings), Sender(self.grower, None, at))
        return Check.objects.get(uuid=check.uuid)

    def _taps(self, flat, check, said, state):
        present = {
            c.place_no: c for c in flat_states(flat, day=check.opened_at.date()).values() if c.is_present
        }
        return [
            MarkIn(
                uuid4(), check.uuid, number, present[number].graft_no, state, check.opened_at,
                replaces=present[number].open_uuids,
            )
            for number in places(said)
        ]  # fmt: skip

    def late_tap(self, check, said, state, arrives_on):
        """Let a tablet that slept bring a tap of an old check."""
        at = check.opened_at
        marks = [MarkIn(uuid4(), check.uuid, number, 1, state, at) for number in places(said)]
        received = march(arrives_on)
        receive_batch(Batch(received, None, [], marks, []), Sender(self.grower, None, received))

    def count(self, flat, on, **dead_by_worker):
        """Count the dead of each worker's run without saying which."""
        check = Check.objects.create(
            flat=flat, day=date(2026, 3, on), kind="numbers", opened_at=march(on), raw_opened_at=march(on),
            received_at=march(on),
        )  # fmt: skip
        for run in flat_stock(flat):
            worker = DayCount._meta.get_field("run").related_model.objects.get(pk=run).worker
            NumberCount.objects.create(
                check_ref=check, run_id=run, dead_count=dead_by_worker.get(worker.name.lower(), 0)
            )
        self.close(check, on)
        return check

    def close(self, check, on):
        closing = ClosingIn(uuid4(), check.uuid, march(on))
        receive_batch(Batch(march(on), None, [], [], [closing]), Sender(self.grower, None, march(on)))

    def reopen(self, check, on):
        named = tuple(str(uuid) for uuid in check.closings.values_list("uuid", flat=True))
        reopening = ClosingIn(uuid4(), check.uuid, march(on), kind="reopen", replaces=named)
        receive_batch(Batch(march(on), None, [], [], [reopening]), Sender(self.grower, None, march(on)))

    def recount(self, *flats):
        recount_flats([flat.pk for flat in flats])

    # --- what the book says

    def take(self, name, by="pairing"):
        """(took, grafted, flats) of a row of the take report, None where it has none."""
        for crop in take_report(by=TakeBy(by)).crops:
            for row in crop.rows:
                if row.name == name:
                    return row.alive, row.grafted, row.flats
        return None

    def early(self, name):
        """{day after grafting: (alive, grafted)} of what has no record yet."""
        report = take_report(by=TakeBy.PAIRING)
        return {r.day: (r.alive, r.grafted) for crop in report.crops for r in crop.early if r.name == name}

    def part_seen(self, name):
        report = take_report(by=TakeBy.PAIRING)
        return {r.day: (r.seen, r.grafted) for crop in report.crops for r in crop.part_seen if r.name == name}

    def left(self, name):
        """(left too early to count, {day: counted when they left})."""
        report = take_report(by=TakeBy.PAIRING)
        rows = [row for crop in report.crops for row in crop.left_early if row.name == name]
        return (rows[0].early, dict(rows[0].counted)) if rows else None

    def stock(self, flat):
        """(alive, dead, gone) of all that ever stood in a flat."""
        stock = flat_stock(flat).values()
        return sum(r.alive for r in stock), sum(r.dead for r in stock), sum(r.gone for r in stock)

    def page(self, client):
        """The words of the take page."""
        answer = client.get(reverse("takes"))
        assert answer.status_code == 200
        return " ".join(answer.content.decode().split())

    def is_proved(self):
        return list(differences()) == []
