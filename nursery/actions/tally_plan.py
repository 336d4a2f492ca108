"""Compare a file of tallies with the book: what is new, what stands there already, what would be replaced.

A row is known by all of its columns but the last three (grafted, alive, wilting). So the same file twice
changes nothing; a row with other counts is a fault unless counts shall be replaced. A run was grafted once:
its rows of different days must name the same number of plants grafted.
"""

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from nursery.actions.tally_file import FileRow, RowFault, read_tally_file
from nursery.actions.tally_names import NameBook, NameFault, SeasonBook
from nursery.models import Flat, Pairing, Run, Season, TallyRow, Worker


class Status(StrEnum):
    NEW = "new"
    UNCHANGED = "unchanged"
    REPLACED = "replaced"


@dataclass(frozen=True, slots=True)
class TallyOptions:
    """``season`` is for rows that name none; ``today`` the farm's date."""

    today: date
    season: str = ""
    replaces: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the file, its tally row (not stored yet where new) and the one it replaces."""

    row: FileRow
    status: Status
    tally: TallyRow
    before: TallyRow | None = None


@dataclass(slots=True)
class TallyPlan:
    """What an import would do. With faults it does nothing."""

    faults: list[RowFault] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    names: NameBook = field(default_factory=NameBook)
    seasons: SeasonBook = field(default_factory=SeasonBook)
    new_flats: list[Flat] = field(default_factory=list)
    new_runs: list[Run] = field(default_factory=list)

    def count(self, status: Status) -> int:
        return sum(entry.status is status for entry in self.entries)

    def new_names(self) -> list[tuple[str, list[str]]]:
        """Return what is made beside flats and seasons: (noun in plural, names)."""
        names = self.names
        return [
            (_("crops"), [crop.name for crop in names.new_crops]),
            (_("cultivars"), [f"{cultivar.name} ({cultivar.crop.name})" for cultivar in names.new_cultivars]),
            (_("pairings"), [str(pairing) for pairing in names.new_pairings]),
            (_("grafters"), [worker.name for worker in names.new_workers]),
            (_("flats"), [flat.own_name for flat in self.new_flats]),
        ]


# Things not stored yet have no key, so they are told apart as objects.
_RunKey = tuple[int, int, str, int | None, date]


def plan_tallies(content: bytes, options: TallyOptions) -> TallyPlan:
    """Return what importing this file would do; nothing is stored."""
    table = read_tally_file(content, today=options.today)
    plan = TallyPlan(faults=table.faults, unread=table.unread)
    seasons = _seasons(table.rows, plan, options)
    book = _TallyBook({s.pk: s for s in seasons.values() if s.pk}, plan)
    for row in table.rows:
        if row.number not in seasons:
            continue
        try:
            run = book.run(row, seasons[row.number])
        except NameFault as fault:
            plan.faults.append(RowFault(row.number, fault.column, str(fault)))
        else:
            _enter(row, run, book, plan=plan, replaces=options.replaces)
    _check_grafted(plan, book)
    plan.faults.sort()
    return plan


def _seasons(rows: list[FileRow], plan: TallyPlan, options: TallyOptions) -> dict[int, Season]:
    """Return the season of each row by its number; rows without one get a fault."""
    named: dict[str, list[FileRow]] = {}
    found: dict[int, Season] = {}
    for row in rows:
        name = row.season or " ".join(options.season.split())
        if name:
            named.setdefault(name, []).append(row)
            continue
        season = plan.seasons.holding(row.grafted_on)
        if season:
            found[row.number] = season
        else:
            text = _(
                "is empty, and no season in the book holds %s. Name one here, or make one under Records."
            )
            plan.faults.append(RowFault(row.number, "season", text % row.grafted_on))
    for name, of_name in sorted(named.items(), key=lambda item: min(row.grafted_on for row in item[1])):
        _name_season(name, of_name, plan, found)
    return found


def _name_season(name: str, rows: list[FileRow], plan: TallyPlan, found: dict[int, Season]) -> None:
    season = plan.seasons.get(name)
    if season is None:
        try:
            season = plan.seasons.make(name, [row.grafted_on for row in rows])
        except NameFault as fault:
            plan.faults.append(RowFault(rows[0].number, fault.column, str(fault)))
            return
    for row in rows:
        if season.starts_on <= row.grafted_on <= season.ends_on:
            found[row.number] = season
            continue
        text = _("%(day)s lies outside season “%(season)s” (%(first)s to %(last)s). Correct the date or the "
                 "season, or the season's dates under Records.")  # fmt: skip
        said = {"day": row.grafted_on, "season": season.name, "first": season.starts_on,
                "last": season.ends_on}  # fmt: skip
        plan.faults.append(RowFault(row.number, "grafted_on", text % said))


class _TallyBook:
    """Tally flats, their runs and standing rows in the seasons of a file; makes what is missing."""

    def __init__(self, seasons: dict[int, Season], plan: TallyPlan) -> None:
        self._plan = plan
        self._flats: dict[tuple[int, str], Flat] = {}
        self._runs: dict[_RunKey, Run] = {}
        self._runs_on: dict[int, int] = {}
        self.rows: dict[int, dict[date, TallyRow]] = {}
        self.entered: dict[int, dict[date, Entry]] = {}
        by_id: dict[int, Flat] = {}
        tallied = Flat.objects.filter(origin=Flat.Origin.TALLY, season__in=seasons)
        for flat in tallied:
            self._flats[id(seasons[flat.season_id or 0]), flat.own_name] = by_id[flat.pk] = flat
        self._read_runs(by_id, tallied)

    def _read_runs(self, flats: dict[int, Flat], tallied: QuerySet[Flat]) -> None:
        by_id: dict[int, Run] = {}
        for run in Run.objects.filter(flat__in=tallied).select_related("worker"):
            by_id[run.pk] = run
            flat = run.flat = flats[run.flat_id]
            worker = self._plan.names.worker(run.worker.name) if run.worker else None
            pairing = self._plan.names.pairing_in_book(run.pairing_id)
            self._keep(run, _run_key(flat, pairing, run.method, worker, run.grafted_on), flat)
        for row in TallyRow.objects.standing().filter(flat__in=tallied):
            self.rows[id(by_id[row.run_id])][row.checked_on] = row

    def run(self, row: FileRow, season: Season) -> Run:
        """Return the run that a row counts."""
        pairing = self._plan.names.pairing(row.crop, row.scion, row.rootstock, row.method)
        worker = self._plan.names.worker(row.grafter)
        flat = self._flat(season, row.flat)
        key = _run_key(flat, pairing, row.method, worker, row.grafted_on)
        run = self._runs.get(key)
        if run is None:
            run = Run(
                flat=flat,
                number=self._runs_on.get(id(flat), 0) + 1,
                pairing=pairing,
                method=row.method,
                worker=worker,
                grafted_on=row.grafted_on,
            )
            self._keep(run, key, flat)
            self._plan.new_runs.append(run)
        return run

    def _flat(self, season: Season, own_name: str) -> Flat:
        flat = self._flats.get((id(season), own_name))
        if flat is None:
            flat = Flat(origin=Flat.Origin.TALLY, season=season, own_name=own_name)
            self._flats[id(season), own_name] = flat
            self._plan.new_flats.append(flat)
        return flat

    def _keep(self, run: Run, key: _RunKey, flat: Flat) -> None:
        self._runs.setdefault(key, run)
        self._runs_on[id(flat)] = max(self._runs_on.get(id(flat), 0), run.number)
        self.rows[id(run)] = {}
        self.entered[id(run)] = {}


def _run_key(flat: Flat, pairing: Pairing, method: str, worker: Worker | None, grafted_on: date) -> _RunKey:
    return id(flat), id(pairing), method, id(worker) if worker else None, grafted_on


def _enter(row: FileRow, run: Run, book: _TallyBook, *, plan: TallyPlan, replaces: bool) -> None:
    """Note what one row means, or why it cannot be taken."""
    earlier = book.entered[id(run)].get(row.checked_on)
    if earlier:
        text = _("counts the same grafts on the same day as row %d. Keep one of the two.")
        plan.faults.append(RowFault(row.number, "", text % earlier.row.number))
        return
    before = book.rows[id(run)].get(row.checked_on)
    tally = TallyRow(
        flat=run.flat,
        run=run,
        checked_on=row.checked_on,
        grafted=row.grafted,
        alive=row.alive,
        wilting=row.wilting,
    )
    status = _status(before, tally)
    entry = Entry(row, status, before if before and status is Status.UNCHANGED else tally, before)
    book.entered[id(run)][row.checked_on] = entry
    if status is Status.REPLACED and before and not replaces:
        text = _("The book has %(before)s, the file %(now)s. Correct the file, or import it again and let "
                 "it replace counts (--replace).")  # fmt: skip
        said = {"before": counts_in_words(before), "now": counts_in_words(tally)}
        plan.faults.append(RowFault(row.number, _first_difference(before, tally), text % said))
    plan.entries.append(entry)


def _status(before: TallyRow | None, tally: TallyRow) -> Status:
    if before is None:
        return Status.NEW
    return Status.REPLACED if _first_difference(before, tally) else Status.UNCHANGED


def _first_difference(before: TallyRow, tally: TallyRow) -> str:
    columns = ("grafted", "alive", "wilting")
    return next((name for name in columns if getattr(before, name) != getattr(tally, name)), "")


def counts_in_words(tally: TallyRow) -> str:
    return _("%(grafted)d grafted, %(alive)d alive, %(wilting)d wilting") % {
        "grafted": tally.grafted,
        "alive": tally.alive,
        "wilting": tally.wilting,
    }


def _check_grafted(plan: TallyPlan, book: _TallyBook) -> None:
    """A run was grafted once: all its rows must agree on how many plants."""
    for run, entries in book.entered.items():
        standing = {day: row.grafted for day, row in book.rows[run].items() if day not in entries}
        wanted = min(standing.items(), default=None) or min(
            ((day, entry.row.grafted) for day, entry in entries.items()), default=None
        )
        if wanted is None:
            continue
        for entry in entries.values():
            if entry.row.grafted == wanted[1]:
                continue
            text = _("%(here)d grafted, but %(there)d at the count of %(day)s. The same grafts have one "
                     "number grafted.")  # fmt: skip
            said = {"here": entry.row.grafted, "there": wanted[1], "day": wanted[0]}
            plan.faults.append(RowFault(entry.row.number, "grafted", text % said))
