"""The season before: one part kept cell by cell and sold whole, the other written down on paper and imported.

It is played by a cast of its own chance, so that this season is the same with it and without it.
"""

import csv
import io
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta

from nursery.actions.codes import issue_code
from nursery.actions.demo.cast import (
    AMBER,
    AMBER_TALLOW,
    CUCUMBER,
    DRUM,
    PEPPER,
    PLUM,
    RUBY,
    RUBY_TALLOW,
    SEED,
    YEAR,
    Cast,
    Recipe,
    sow_lot,
)
from nursery.actions.demo.fate import SPREAD
from nursery.actions.demo.play import Played, Shift, check, graft, move
from nursery.actions.grading import Graded, record_grading
from nursery.actions.leaving import Goal, let_all_leave
from nursery.actions.sessions import end_session, start_session
from nursery.actions.stamp import Stamp
from nursery.actions.tally_file import COLUMNS
from nursery.actions.tally_plan import TallyOptions, plan_tallies
from nursery.actions.tally_store import store_at_once
from nursery.calc.codes import FLAT
from nursery.models import Cause, Cultivar, Flat, Leaving, Run, Worker

KEPT_DAYS = (-56, -51, -47, -43, -38, -34)  # of a year ago
KEPT_FLATS = 3  # a day
SOLD_AFTER = 26
CUSTOMERS = ["Sallow Bridge market", "Pennywort boxes", "Dovecote field"]
GRADED_SHARE = 0.5  # of the flats sold whole: grading takes time, and is not always done
TAKE_THEN = -0.03  # last season's takes lay so much lower
LEFT_SINCE = "Sorrel"  # grafted here then, and does not any more

KEPT = [AMBER, RUBY, PLUM, AMBER, RUBY_TALLOW, CUCUMBER, AMBER_TALLOW, RUBY, RUBY_TALLOW]
ON_PAPER = [  # pairing, flats; the last one is grown no more
    (AMBER, 5), (RUBY, 4), (AMBER_TALLOW, 3), (RUBY_TALLOW, 4), (PEPPER, 4), (DRUM, 3),
    (Recipe("Tomato", "Copper Finch", "Tomato", "Tallow", "cleft", 0.81, 0), 4),
]  # fmt: skip


def play_last_season(cast: Cast) -> None:
    """Play last season as it was kept here, and import what was kept on paper."""
    then = replace(cast, rng=random.Random(SEED + 1))
    for cultivar in Cultivar.objects.order_by("pk"):
        sow_lot(then, cultivar, 1, before=YEAR)
    waiting = _kept_flats()
    for number, day in enumerate(KEPT_DAYS):
        flats = [next(waiting) for _ in range(KEPT_FLATS)]
        _play_day(then, day - YEAR, flats, customer=CUSTOMERS[number % len(CUSTOMERS)])
    _import_paper(then)


def _kept_flats() -> Iterator[Recipe]:
    """Twice the list; the second time the tomatoes' rootstocks were cut off and stuck again."""
    for roots in (Run.Roots.OWN, Run.Roots.RESTUCK):
        for recipe in KEPT:
            on = roots if recipe.crop == "Tomato" else Run.Roots.OWN
            yield replace(recipe, take=recipe.take + TAKE_THEN, roots=on)


def _play_day(cast: Cast, day: int, recipes: Sequence[Recipe], *, customer: str) -> None:
    session = start_session(stamp=cast.stamp(cast.at(day, 8)), place=cast.places["Bench 1"], key=cast.uuid())
    shift = Shift(session, day)
    flats = [graft(cast, shift, recipe) for recipe in recipes]
    end_session(session, stamp=cast.stamp(cast.at(day, 12)))
    move(cast, *flats)
    for played in flats:
        check(cast, played, after=7)
        check(cast, played, after=14)
    sell(cast, flats, after=SOLD_AFTER, customer=customer)


def sell(cast: Cast, flats: Sequence[Played], *, after: int, customer: str) -> None:
    """Sell flats of one day whole, in one touch."""
    stamp = cast.stamp(cast.at(flats[0].day + after, 11), cast.workers["Teal"])
    act, _number = let_all_leave(
        [played.flat for played in flats], goal=Goal(Cause.SOLD, customer), stamp=stamp
    )
    for leaving in Leaving.objects.filter(act=act).select_related("flat").order_by("pk"):
        if cast.rng.random() < GRADED_SHARE:
            _grade(cast, leaving, stamp)


def _grade(cast: Cast, leaving: Leaving, stamp: Stamp) -> None:
    """Grade what left: about eight in ten first, the rest second but for a few culls."""
    left = leaving.flat.cells.filter(marks__check_ref=leaving.check_ref_id)
    counts = []
    for run_id, plants in Counter(left.values_list("run", flat=True)).items():
        cull = sum(cast.rng.random() < 0.04 for _ in range(plants))
        first = min(plants - cull, round(plants * cast.rng.betavariate(16, 4)))
        parts = {"first": first, "second": plants - cull - first, "cull": cull}
        counts += [Graded(run_id, grade, number) for grade, number in parts.items()]
    record_grading(leaving.flat, counts=counts, stamp=stamp, leaving=leaving)


def _import_paper(cast: Cast) -> None:
    """Import the tallies on the first day of this season, as the page of imports does."""
    imported = cast.stamp(cast.at(-60, 17))
    season = f"Season {cast.today.year - 1}"
    plan = plan_tallies(_paper(cast).encode(), TallyOptions(imported.at.date(), season))
    if plan.faults:
        raise ValueError(f"the paper has faults: {plan.faults}")
    store_at_once(plan, imported.account, imported.at)
    for flat in Flat.objects.filter(origin=Flat.Origin.TALLY).order_by("own_name"):
        Flat.objects.filter(pk=flat.pk).update(code=issue_code(FLAT, cast.rng))  # the same every time
    Worker.objects.filter(name=LEFT_SINCE).update(is_active=False)


def _paper(cast: Cast) -> str:
    """Return the tallies as a table: a row for each flat, counted once, two weeks after grafting."""
    text = io.StringIO()
    table = csv.DictWriter(text, COLUMNS)
    table.writeheader()
    number = 0
    for recipe, flats in ON_PAPER:
        for _ in range(flats):
            number += 1
            table.writerow(_paper_row(cast, recipe, number))
    return text.getvalue()


def _paper_row(cast: Cast, recipe: Recipe, number: int) -> dict[str, object]:
    grafted_on = cast.day(-YEAR + cast.rng.randrange(-58, -30))
    grafted = recipe.rows * recipe.columns - cast.rng.choice([0, 0, 1, 3])
    mean = recipe.take + TAKE_THEN
    share = cast.rng.betavariate(mean * SPREAD, (1 - mean) * SPREAD)
    alive = sum(cast.rng.random() < share for _ in range(grafted))
    return {
        "season": "",
        "flat": f"Paper {number:02d}",
        "crop": recipe.crop,
        "scion": recipe.scion,
        "rootstock": recipe.rootstock,
        "method": recipe.method,
        "grafter": cast.rng.choice(["Wren", "Ash", LEFT_SINCE, ""]),
        "grafted_on": grafted_on.isoformat(),
        "checked_on": (grafted_on + timedelta(days=14)).isoformat(),
        "grafted": grafted,
        "alive": alive,
        "wilting": min(alive, cast.rng.choice([0, 0, 1, 2])),
    }
