"""Count a flat by numbers: so many dead and wilting of each run, without saying which.

For flats in which nobody wants to tap fifty cells, and the only way for those whose cells are not known.
Numbers may not exceed what stands in the flat on the day of the check, nor fall below what its cells show
dead.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from nursery.actions.batch import Batch, CheckIn, ClosingIn, NumbersIn, Sender
from nursery.actions.counting import lock_flats
from nursery.actions.desk import KNOWN, OTHER_CONTENT, REFUSED, STORED, UNKNOWN_CHECK, Desk
from nursery.actions.given import given_run
from nursery.actions.ledger import FlatFacts, read_ledger
from nursery.actions.stamp import Stamp
from nursery.actions.stock import stock_of
from nursery.calc.days import local_date
from nursery.models import Check, Farm, Flat, NumberCount, Run

BY_CELLS = gettext_lazy("This check is cell by cell. Send numbers in a check of kind numbers.")
UNKNOWN_RUN = gettext_lazy("No plant of this run stands in this flat.")


@dataclass(frozen=True, slots=True)
class Standing:
    """Plants of one run in a flat on a day: not gone, dead or alive; and how many of them cells show dead."""

    plants: int
    dead_in_cells: int

    def fault(self, dead: int, wilting: int) -> str:
        """Say what is wrong with these numbers; empty if nothing is."""
        if dead + wilting > self.plants:
            text = ngettext(
                "%(plants)d plant stands here; %(dead)d dead and %(wilting)d wilting are more.",
                "%(plants)d plants stand here; %(dead)d dead and %(wilting)d wilting are more.",
                self.plants,
            )
            return text % {"plants": self.plants, "dead": dead, "wilting": wilting}
        if dead < self.dead_in_cells:
            text = ngettext(
                "%(cells)d cell is marked dead already: say at least %(cells)d dead, or correct the cell.",
                "%(cells)d cells are marked dead already: say at least %(cells)d dead, or correct the cells.",
                self.dead_in_cells,
            )
            return text % {"cells": self.dead_in_cells}
        return ""


def standing_on(facts: FlatFacts, day: date) -> dict[int, Standing]:
    """Return what stands in a flat at the end of ``day``, by the key of the run."""
    cells = [
        cell if cell.moved_on is None or cell.moved_on <= day else replace(cell, moved_on=None)
        for cell in facts.cells
        if cell.came_on is None or cell.came_on <= day
    ]
    marks = {cell: [mark for mark in made if mark.day <= day] for cell, made in facts.marks.items()}
    left = [entry for entry in facts.left if entry[1] <= day]
    pools = [entry for entry in facts.pools if entry[1] <= day]
    stock = stock_of(replace(facts, cells=cells, marks=marks, left=left, pools=pools))
    return {run_id: Standing(run.total - run.gone, run.dead_in_cells) for run_id, run in stock.items()}


def take_numbers(desk: Desk) -> None:
    """Store the numbers of a batch that are new and possible."""
    numbers = []
    for part in desk.batch.numbers:
        if part.check in desk.checks:
            numbers.append(part)
        else:
            desk.receipt.say(part.name, REFUSED, UNKNOWN_CHECK)
    if numbers:
        _Counter(desk, numbers).take()


class _Counter:
    """Judges the numbers of a batch, one after the other, against what stands in their flats."""

    def __init__(self, desk: Desk, numbers: list[NumbersIn]) -> None:
        self.desk, self.numbers = desk, numbers
        self.ledger = read_ledger({desk.checks[part.check].flat_id for part in numbers})
        self.keys = dict(Run.objects.filter(pk__in=self.ledger.runs).values_list("key", "pk"))
        checks = [desk.checks[part.check].pk for part in numbers]
        self.told = {
            (count.check_ref_id, count.run_id): (count.dead_count, count.wilting_count)
            for count in NumberCount.objects.filter(check_ref__in=checks)
        }

    def take(self) -> None:
        rows = []
        for part in self.numbers:
            check, said = self.desk.checks[part.check], (part.dead, part.wilting)
            run_id = self._run_id(part, check)
            known = self.told.get((check.pk, run_id)) if run_id else None
            if known is not None:
                self._answer_known(part, known == said)
            elif fault := self._fault(part, check, run_id):
                self.desk.receipt.say(part.name, REFUSED, fault)
            else:
                assert run_id is not None
                self.told[check.pk, run_id] = said
                rows.append(
                    NumberCount(
                        check_ref=check, run_id=run_id, dead_count=part.dead, wilting_count=part.wilting
                    )
                )
                self.desk.receipt.say(part.name, STORED)
        NumberCount.objects.bulk_create(rows)

    def _run_id(self, part: NumbersIn, check: Check) -> int | None:
        if isinstance(part.run, UUID):
            return self.keys.get(part.run) or given_run(check, part.run)
        runs = self.ledger.runs.values()
        return next((run.id for run in runs if (run.flat_id, run.number) == (check.flat_id, part.run)), None)

    def _answer_known(self, part: NumbersIn, is_same: bool) -> None:
        if not is_same:
            self.desk.receipt.say(part.name, REFUSED, OTHER_CONTENT)
        elif part.name not in self.desk.receipt.results:
            self.desk.receipt.say(part.name, KNOWN)

    def _fault(self, part: NumbersIn, check: Check, run_id: int | None) -> str | Promise:
        if check.kind != Check.Kind.NUMBERS:
            return BY_CELLS
        standing = standing_on(self.ledger.flats[check.flat_id], check.day)
        if run_id not in standing:
            return UNKNOWN_RUN
        return standing[run_id].fault(part.dead, part.wilting)


@transaction.atomic
def count_by_numbers(
    flat: Flat, *, uuid: UUID, numbers: Mapping[Run, tuple[int, int]], stamp: Stamp
) -> Check:
    """Store dead and wilting of each run as a closed check ``uuid`` of its own; sent again, it is the same.

    ValidationError by the key of the run where numbers are impossible; without a field where the flat was
    looked at cell by cell that day, or the same UUID came with other numbers.
    """
    from nursery.actions.marks import receive_batch

    lock_flats([flat.pk])
    known = Check.objects.filter(uuid=uuid).first()
    if known is not None:
        _require_same(known, flat, numbers)
        return known
    _require_not_looked_at(flat, local_date(stamp.at, Farm.objects.current().time_zone))
    worker = stamp.worker.key if stamp.worker else None
    check = CheckIn(uuid, flat.code, stamp.raw_at, kind=Check.Kind.NUMBERS, worker=worker)
    parts = [NumbersIn(uuid, run.key, dead, wilting) for run, (dead, wilting) in numbers.items()]
    closing = ClosingIn(uuid5(uuid, "closing"), uuid, stamp.raw_at, worker=worker)
    skew = stamp.received_at - stamp.at  # the batch's own clock: receive_batch corrects raw times by it
    batch = Batch(stamp.raw_at + skew, checks=[check], closings=[closing], numbers=parts)
    receipt = receive_batch(batch, Sender(stamp.account, stamp.worker, stamp.received_at))
    faults = {
        str(part.run): result["reason"]
        for part in parts
        if (result := receipt.results[part.name])["status"] == REFUSED
    }
    if faults:
        raise ValidationError(faults)
    return Check.objects.get(uuid=uuid)


def _require_same(check: Check, flat: Flat, numbers: Mapping[Run, tuple[int, int]]) -> None:
    told = {count.run_id: (count.dead_count, count.wilting_count) for count in check.numbers.all()}
    said = {run.pk: count for run, count in numbers.items()}
    if check.flat_id != flat.pk or told != said:
        text = _("These numbers were saved before, and others now. Load the page again to count anew.")
        raise ValidationError(text, code="other_content")


def _require_not_looked_at(flat: Flat, day: date) -> None:
    if was_looked_at(flat, day):
        text = _("This flat was checked cell by cell today, and that stands. Go on with it cell by cell.")
        raise ValidationError(text, code="looked_at")


def was_looked_at(flat: Flat, day: date) -> bool:
    """Whether a check cell by cell was closed on ``day``: numbers of that day would not count."""
    looks = flat.checks.closed().filter(day=day, leaving=None).exclude(kind=Check.Kind.NUMBERS)
    return looks.exists()


def runs_standing(flat: Flat, day: date) -> list[tuple[Run, Standing, int]]:
    """Return the runs of which plants stand in a flat, what stands, and how many of it are known dead."""
    facts = read_ledger([flat.pk]).flats[flat.pk]
    standing = {run_id: one for run_id, one in standing_on(facts, day).items() if one.plants}
    dead = {run_id: run.dead for run_id, run in stock_of(facts).items()}
    runs: Iterable[Run] = (
        Run.objects.named().select_related("flat").filter(pk__in=standing).order_by("flat_id", "number")
    )
    return [(run, standing[run.pk], min(dead[run.pk], standing[run.pk].plants)) for run in runs]
