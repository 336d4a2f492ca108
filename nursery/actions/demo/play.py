"""Graft a flat of the invented season, take it through the places, and check it."""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from nursery.actions.bench import Tray, put_on
from nursery.actions.demo.cast import Cast, Recipe, tray
from nursery.actions.demo.check import Look, as_fated, check_flat
from nursery.actions.demo.fate import Fate, fates_of
from nursery.actions.demo_accounts import GROWER
from nursery.actions.finishing import finish_flat
from nursery.actions.runs import hand_over
from nursery.actions.work import Work
from nursery.models import Flat, LabelPrint, Run, Session, Sowing, Stage, StageMove, Worker

MINUTES_A_FLAT = 45
REGULARS = ["Wren", "Ash", "Juniper", "Teal"]
HEALING = [
    (0, Stage.CHAMBER, "Chamber"),
    (5, Stage.ACCLIMATION, "Warm bay"),
    (10, Stage.GROWING_ON, "Cool bay"),
]


@dataclass(slots=True)
class Shift:
    """A session on the farm's day ``day``, counted from today, in which so many flats were begun."""

    session: Session
    day: int
    flats: int = 0


@dataclass(slots=True)
class Played:
    """A flat of the season with what will become of its plants."""

    flat: Flat
    day: int
    fates: dict[int, Fate]
    places: list[int] = field(default_factory=list)


def graft(
    cast: Cast,
    shift: Shift,
    recipe: Recipe,
    *,
    blanks: int = 0,
    over_at: int | None = None,
) -> Played:
    """Graft the next flat of a shift; somebody else takes it over at place ``over_at``."""
    run = begin(cast, shift, recipe)
    if over_at:
        other = cast.workers["Wren" if run.worker != cast.workers["Wren"] else "Teal"]
        stamp = cast.stamp((run.started_at or cast.at(shift.day, 8)) + timedelta(minutes=15), other)
        hand_over(run.flat, first_place=over_at, work=Work.of(run).by(other), stamp=stamp)
    return finish(cast, shift, run.flat, recipe, blanks=blanks)


def begin(cast: Cast, shift: Shift, recipe: Recipe, *, started: datetime | None = None) -> Run:
    """Put the next flat of a shift on, under a code printed ahead."""
    started = started or cast.at(shift.day, 8, 5 + MINUTES_A_FLAT * shift.flats)
    worker = grafter(cast, shift.day, shift.flats)
    shift.flats += 1
    pairing = cast.pairing(recipe)
    tray_format, layout = tray(recipe.rows, recipe.columns)
    work = Work(
        pairing=pairing,
        method=recipe.method,
        worker=worker,
        scion_sowings=sowings_for(cast, pairing.scion_id, shift.day),
        rootstock_sowings=sowings_for(cast, pairing.rootstock_id, shift.day),
        cut=Run.Cut.BELOW if recipe.method == "splice" else Run.Cut.ABOVE,
        roots=recipe.roots,
        clip="2.0 mm" if recipe.method == "splice" else "",
    )
    new = Tray(tray_format, layout, cast.code(), key=cast.uuid())
    return put_on(shift.session, tray=new, work=work, stamp=cast.stamp(started, worker))


def finish(cast: Cast, shift: Shift, flat: Flat, recipe: Recipe, *, blanks: int = 0) -> Played:
    """Finish a flat with some blanks, print its label, and draw what becomes of its plants."""
    used = recipe.rows * recipe.columns
    empty = sorted(cast.rng.sample(range(1, used + 1), blanks))
    last = flat.runs.order_by("-number").select_related("worker")[0]
    finished = (last.started_at or cast.at(shift.day, 8)) + timedelta(minutes=24)
    finish_flat(flat, blanks=empty, stamp=cast.stamp(finished, last.worker))
    print_label(cast, flat, finished)
    grafters = dict(flat.cells.values_list("place_no", "run__worker__name"))
    fates = fates_of(sorted(grafters), take=recipe.take, grafters=grafters, rng=cast.rng)
    return Played(flat, shift.day, fates, sorted(grafters))


def print_label(cast: Cast, flat: Flat, at: datetime) -> None:
    """Note that the label of a flat was printed; the sheet itself is for nobody."""
    LabelPrint.objects.create(
        code=flat.code, stock="a4-70x37", printed_at=at, printed_by=cast.accounts[GROWER]
    )


def grafter(cast: Cast, day: int, order: int) -> Worker:
    """Return who grafts; the beginner does from the second half of the season on."""
    if day > -30 and order == 2:
        return cast.workers["Rowan"]
    return cast.workers[REGULARS[(order + day) % len(REGULARS)]]


def sowings_for(cast: Cast, cultivar_id: int, day: int) -> tuple[Sowing, ...]:
    """Return the youngest sowing that is old enough to graft, if any."""
    grafted_on = cast.day(day)
    old = [s for s in cast.sowings[cultivar_id] if s.sown_on <= grafted_on - timedelta(days=12)]
    return (max(old, key=lambda sowing: sowing.sown_on),) if old else ()


def move(cast: Cast, *flats: Played, days: int = 99) -> None:
    """Take flats of one day through the places, for ``days`` days and as far as today allows.

    As ``move_flats`` writes it, but in one statement: this is done for every flat of the season.
    """
    day = flats[0].day
    steps = [
        (stage, cast.places[place], cast.uuid(), cast.stamp(cast.at(day + after, 14)))
        for after, stage, place in HEALING
        if after < days and day + after < 0
    ]
    StageMove.objects.bulk_create(
        StageMove(flat=played.flat, stage=stage, place=place, act=act, uuid=cast.uuid(), **stamp.fields())
        for stage, place, act, stamp in steps
        for played in flats
    )


def check(cast: Cast, played: Played, *, after: int, is_closed: bool = True) -> Look | None:
    """Check a flat ``after`` days after grafting as its plants' fates show; None if that is still to come."""
    if played.day + after >= 0:
        return None
    worker = cast.workers[REGULARS[after % len(REGULARS)]]
    at = cast.at(played.day + after, 9, cast.rng.randrange(50))
    look = Look(played.flat, at, worker, cast.uuid(), is_closed=is_closed)
    check_flat(cast, look, as_fated(played.fates, after))
    return look


def on_pairing(run: Run, work: Work, cast: Cast, recipe: Recipe, *, minutes: int) -> None:
    """Go on with another scion from the middle of the flat."""
    work = replace(work.on_pairing(cast.pairing(recipe)), scion_sowings=())
    stamp = cast.stamp((run.started_at or cast.at(0, 8)) + timedelta(minutes=minutes), run.worker)
    hand_over(run.flat, first_place=37, work=work, stamp=stamp)
