"""What the page of a flat tells: who grafted what, the counts by day, what is not alive, where it stood."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Count, QuerySet
from django.utils.translation import gettext as _

from nursery.actions.states import CellState
from nursery.models import Account, Cause, Check, DayCount, Flat, Run, RunSowing, Sowing
from nursery.views.drawing import STATE_WORDS, run_sign
from nursery.views.flat_now import FlatNow
from nursery.views.standing import places_said

NOT_ALIVE = ("dead", "gone", "wilting")


@dataclass(frozen=True, slots=True)
class RunLine:
    """Who grafted what: one run, its places, and what stood on either side."""

    run: Run
    sign: int
    who: str
    places: str
    plants: int
    scion_sowings: list[Sowing]
    rootstock_sowings: list[Sowing]


@dataclass(frozen=True, slots=True)
class Part:
    """What one day counted of a run, or of the runs of one pairing."""

    name: str
    grafted: int
    alive: int
    is_record: bool


@dataclass(frozen=True, slots=True)
class DayLine:
    """One day's count of the flat; ``parts`` where it holds more than one thing to compare."""

    day: date
    age: int | None  # none of its own was grafted here
    grafted: int
    seen: int
    alive: int
    wilting: int
    dead: int
    gone: int
    is_record: bool
    is_closed: bool
    is_by_numbers: bool
    parts: list[Part]

    @property
    def is_unseen(self) -> bool:
        """Whether nobody looked at what lives: a day on which plants left, or two said different things."""
        return self.seen < self.grafted and not self.alive

    @property
    def note(self) -> str:
        """What is not plain about the day, in few words."""
        if self.is_record:
            return _("the record")
        if not self.is_closed:
            return _("not closed")
        if self.seen < self.grafted:
            return _("%(seen)d of %(grafted)d seen") % {"seen": self.seen, "grafted": self.grafted}
        return _("by numbers") if self.is_by_numbers else ""


@dataclass(frozen=True, slots=True)
class Loss:
    """Cells in the same state for the same cause since the same day."""

    state: str
    word: str
    cells: str
    number: int
    cause: str
    since: date | None


def named_runs(flat: Flat) -> list[Run]:
    """Return the runs of a flat with all that their lines name."""
    runs = flat.runs.named().select_related("scion_cut_by", "rootstock_cut_by")
    return list(runs.prefetch_related("run_sowings__sowing").order_by("number"))


def run_lines(runs: Sequence[Run], cells: Iterable[CellState], columns: int) -> list[RunLine]:
    """Return a line for each run; its places are those it was grafted in, whatever became of them."""
    places: dict[int, list[int]] = defaultdict(list)
    for cell in cells:
        places[cell.run_number].append(cell.place_no)
    return [_run_line(run, places[run.number], columns) for run in runs]


def guest_lines(now: FlatNow) -> list[RunLine]:
    """Return a line for each run of which plants were moved in, with the places they stand in here."""
    columns = now.flat.tray_format.columns
    places: dict[int, list[int]] = defaultdict(list)
    for cell in now.cells:
        if cell.is_present:
            places[cell.run_number].append(cell.place_no)
    return [
        replace(
            _run_line(run, places[now.numbers[run.pk]], columns),
            sign=run_sign(now.numbers[run.pk]),
            plants=now.stock[run.pk].alive,
        )
        for run in now.guests
    ]


def _run_line(run: Run, places: list[int], columns: int) -> RunLine:
    return RunLine(
        run=run,
        sign=run_sign(run.number),
        who=_who(run),
        places=places_said(places, columns),
        plants=len(places),
        scion_sowings=_sowings(run, RunSowing.Side.SCION),
        rootstock_sowings=_sowings(run, RunSowing.Side.ROOTSTOCK),
    )


def _who(run: Run) -> str:
    if run.worker is None:
        return _("not recorded")
    if run.second_worker is None:
        return str(run.worker)
    return _("%(one)s and %(other)s") % {"one": run.worker, "other": run.second_worker}


def _sowings(run: Run, side: str) -> list[Sowing]:
    return [entry.sowing for entry in run.run_sowings.all() if entry.side == side]


def day_lines(flat: Flat, runs: Sequence[Run], user: Account) -> list[DayLine]:
    """Return the counts by day, newest first.

    A grower sees each run. Anybody else sees the runs of one pairing summed: what one grafter took is shown
    to the grower and on the grafter's own page only.
    """
    names = part_names(runs, user)
    first = min((run.grafted_on for run in runs), default=None)
    by_day: dict[date, list[DayCount]] = defaultdict(list)
    for count in flat.day_counts.order_by("-day", "run__number"):
        by_day[count.day].append(count)
    return [_day_line(day, counts, names, first) for day, counts in by_day.items()]


def part_names(runs: Sequence[Run], user: Account) -> dict[int, str]:
    """Name each run for a grower, its pairing for anybody else, by the key of the run."""
    is_mixed = len({run.pairing_id for run in runs}) > 1
    return {run.pk: _part_name(run, user, is_mixed) for run in runs}


def _part_name(run: Run, user: Account, is_mixed: bool) -> str:
    if not user.is_grower:
        return str(run.pairing)
    return f"{_who(run)}, {run.pairing}" if is_mixed else _who(run)


def _day_line(day: date, counts: list[DayCount], names: dict[int, str], first: date | None) -> DayLine:
    columns = ("grafted", "seen", "alive", "wilting", "dead", "gone")
    return DayLine(
        day=day,
        age=(day - first).days if first else None,
        **{column: _total(counts, column) for column in columns},
        is_record=all(count.is_record for count in counts),
        is_closed=all(count.is_closed for count in counts),
        is_by_numbers=any(count.source == DayCount.Source.NUMBERS for count in counts),
        parts=_parts(counts, names),
    )


def _total(counts: Iterable[DayCount], column: str) -> int:
    return sum(getattr(count, column) for count in counts)


def _parts(counts: list[DayCount], names: dict[int, str]) -> list[Part]:
    groups: dict[str, list[DayCount]] = defaultdict(list)
    for count in counts:
        groups[names.get(count.run_id) or _("moved in")].append(count)
    if len(groups) < 2:
        return []
    return [
        Part(name, _total(each, "grafted"), _total(each, "alive"), all(count.is_record for count in each))
        for name, each in groups.items()
    ]


def losses(cells: Iterable[CellState], columns: int) -> list[Loss]:
    """Return what is not simply alive, the worst first: the drawing of the flat in words."""
    groups: dict[tuple[str, str, date | None], list[int]] = defaultdict(list)
    for cell in cells:
        if cell.is_present and cell.state in NOT_ALIVE:
            groups[cell.state, cell.cause, cell.decided_on].append(cell.place_no)
    ordered = sorted(groups.items(), key=lambda entry: (NOT_ALIVE.index(entry[0][0]), min(entry[1])))
    return [
        Loss(
            state=state,
            word=str(STATE_WORDS[state]),
            cells=places_said(places, columns),
            number=len(places),
            cause=str(Cause(cause).label) if cause else "",
            since=since,
        )
        for (state, cause, since), places in ordered
    ]


def checks_of(flat: Flat) -> QuerySet[Check]:
    """Return the checks of a flat, newest first, with who made them and how many marks they hold.

    What only tells which plants left is no look at the flat and stands with these.
    """
    looks = flat.checks.filter(leaving=None)
    checks = looks.select_related("by_worker", "sent_by").annotate(marks_count=Count("marks"))
    return checks.order_by("-day", "-opened_at")
