"""What left a flat and what came into it, as its page tells it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from nursery.calc.codes import spoken
from nursery.models import Account, Cause, Grading, Leaving, LeavingCount, Mark, Run, StageMove, Voiding
from nursery.views.choosing import run_name
from nursery.views.flat_now import FlatNow


@dataclass(frozen=True, slots=True)
class LeavingLine:
    """Plants that left together: how many, of which runs, and whether their cells can still be said."""

    leaving: Leaving
    number: int
    parts: list[tuple[str, int]]
    is_void: bool
    is_graded: bool

    @property
    def may_grade(self) -> bool:
        """Plants that went to somebody who wants to know; what was graded already is not asked again."""
        return self.leaving.reason in (Cause.SOLD, Cause.PLANTED) and not self.is_graded

    @property
    def is_by_number(self) -> bool:
        return self.leaving.check_ref_id is None

    @property
    def may_say_which(self) -> bool:
        return self.is_by_number and not self.leaving.to_flat_id and not self.leaving.flat.is_pooled

    @property
    def where(self) -> str:
        """Where they went: a flat, or what was written."""
        if self.leaving.to_flat:
            return spoken(self.leaving.to_flat.code)
        return self.leaving.destination

    @property
    def said(self) -> str:
        """The notice: "60 left for bed 4, sold"."""
        words = {
            "number": self.number,
            "where": self.where,
            "reason": str(self.leaving.get_reason_display()).lower(),
        }
        if self.leaving.to_flat:
            return _("%(number)d moved to %(where)s.") % words
        if self.where:
            return _("%(number)d left for %(where)s, %(reason)s.") % words
        return _("%(number)d left, %(reason)s.") % words


def leaving_lines(leavings: Sequence[Leaving], user: Account) -> list[LeavingLine]:
    """Return a line for each of ``leavings`` (with their flats); five queries."""
    counts = _counts(leavings)
    names = _names({run for parts in counts.values() for run in parts}, user)
    void = set(
        Voiding.objects.filter(target_uuid__in=[one.uuid for one in leavings]).values_list(
            "target_uuid", flat=True
        )
    )
    graded = set(Grading.objects.standing().filter(leaving__in=leavings).values_list("leaving_id", flat=True))
    return [
        LeavingLine(
            leaving=leaving,
            number=sum(counts[leaving.pk].values()),
            parts=_parts(counts[leaving.pk], names),
            is_void=leaving.uuid in void,
            is_graded=leaving.pk in graded,
        )
        for leaving in leavings
    ]


def _counts(leavings: Sequence[Leaving]) -> dict[int, dict[int, int]]:
    """Return the plants of each run in each leaving, told by cells or by number."""
    counts: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for row in LeavingCount.objects.filter(leaving__in=leavings):
        counts[row.leaving_id][row.run_id] += row.plants_count
    marks = Mark.objects.filter(check_ref__leaving__in=leavings, kind="seen")
    for leaving_id, run_id in marks.values_list("check_ref__leaving", "cell__run"):
        counts[leaving_id][run_id] += 1
    return counts


def _names(runs: Iterable[int], user: Account) -> dict[int, str]:
    return {run.pk: run_name(run, user) for run in Run.objects.named().filter(pk__in=list(runs))}


def _parts(counts: dict[int, int], names: dict[int, str]) -> list[tuple[str, int]]:
    parts: dict[str, int] = defaultdict(int)
    for run_id, plants in counts.items():
        parts[names[run_id]] += plants
    return sorted(parts.items())


@dataclass(frozen=True, slots=True)
class Regrafted:
    """Grafts made later in this flat; they can be taken back until one of them is marked."""

    run: Run
    number: int
    may_undo: bool


def went_and_came(now: FlatNow, user: Account) -> dict[str, object]:
    """Return what left the flat, what was moved in, what was grafted again, and the last discarding."""
    rows = Leaving.objects.standing().select_related("flat", "to_flat", "by_worker", "sent_by", "check_ref")
    both = rows.filter(flat=now.flat) | rows.filter(to_flat=now.flat)
    lines = leaving_lines(list(both.order_by("-at", "-pk")), user)
    out = [line for line in lines if line.leaving.flat_id == now.flat.pk]
    return {
        "left": out,
        "came": [line for line in lines if line.leaving.to_flat_id == now.flat.pk],
        "by_number": _by_number(out),
        "regrafted": _regrafted(now),
        "last_discard": _last_discard(now),
    }


def _by_number(lines: list[LeavingLine]) -> int:
    return sum(line.number for line in lines if line.is_by_number)


def _regrafted(now: FlatNow) -> list[Regrafted]:
    numbers: dict[int, int] = defaultdict(int)
    for cell in now.cells:
        numbers[cell.run_number] += 1
    return [
        Regrafted(run, numbers[run.number], run.pk not in now.marked_runs)
        for run in now.runs
        if run.is_regraft
    ]


def _last_discard(now: FlatNow) -> StageMove | None:
    """Return the move by which the flat was discarded on its own page, while it is the last."""
    last: StageMove | None = now.flat.moves.standing().order_by("-at", "-pk").first()
    return last if last and last.stage == "discarded" and last.act == last.uuid else None
