"""Play two invented seasons, from the first session of the last one to the session that is open now."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import islice

from django.core.exceptions import ValidationError
from django.db import transaction

from nursery.actions.blades import note_blade
from nursery.actions.codes import issue_code
from nursery.actions.demo.cast import RECIPES, Cast, Recipe, cast_the_farm
from nursery.actions.demo.last_season import CUSTOMERS, SOLD_AFTER, play_last_season, sell
from nursery.actions.demo.play import Shift, begin, check, finish, graft, move
from nursery.actions.demo.stories import tell_stories
from nursery.actions.demo_accounts import GROWER
from nursery.actions.papers import save_paper
from nursery.actions.sessions import end_session, pause_session, resume_session, start_session
from nursery.calc.codes import FLAT
from nursery.models import Account, BladeEvent, Flat, LabelPrint, LabelStock, PrintedCode, Run

GRAFTING_DAYS = (-56, -53, -49, -46, -42, -39, -35, -32, -28, -25, -21, -18, -14, -11, -7, -4)
SOLD_UNTIL = -39  # what was grafted until then was sold whole; the rest stands
ROLL = 12
OWN_PAPER = "Shed printer, 64 × 34"


@transaction.atomic
def load_demo(now: datetime) -> int:
    """Build the demonstration farm as it stands at ``now`` in an empty book; return the number of flats.

    ValidationError if the book is not empty: nothing of a real farm is ever mixed with the demonstration.
    """
    if Account.objects.exists() or Flat.objects.exists():
        raise ValidationError("The book is not empty: the demonstration farm needs one of its own.")
    cast = cast_the_farm(now.date())
    play_last_season(cast)
    queue = _flats_of_season(cast)
    for day in GRAFTING_DAYS:
        _play_day(cast, day, queue)
    tell_stories(cast)
    _own_paper()
    _open_now(cast, now)
    return Flat.objects.count()


def _flats_of_season(cast: Cast) -> Iterator[Recipe]:
    recipes = [_variant(recipe, number) for recipe in RECIPES for number in range(recipe.flats)]
    cast.rng.shuffle(recipes)
    return iter(recipes)


def _variant(recipe: Recipe, number: int) -> Recipe:
    """Every other flat of one scion on tomato roots is stuck again, which costs some plants."""
    if recipe.scion == "Ruby Coach" and number % 2:
        return replace(recipe, roots=Run.Roots.RESTUCK, take=recipe.take - 0.04)
    return recipe


def _play_day(cast: Cast, day: int, queue: Iterator[Recipe]) -> None:
    """Graft three or four flats on one day, with a break, then heal and check them."""
    session = start_session(stamp=cast.stamp(cast.at(day, 8)), place=cast.places["Bench 1"], key=cast.uuid())
    blade = cast.stamp(cast.at(day, 8), cast.workers["Wren"])
    note_blade(session, kind=BladeEvent.Kind.CHANGED, stamp=blade)
    shift = Shift(session, day)
    flats = [
        graft(cast, shift, recipe, blanks=cast.rng.choice([0, 0, 1, 2]))
        for recipe in islice(queue, 3 + day % 2)
    ]
    pause_session(session, stamp=cast.stamp(cast.at(day, 12)))
    resume_session(session, stamp=cast.stamp(cast.at(day, 12, 45)))
    end_session(session, stamp=cast.stamp(cast.at(day, 13)))
    move(cast, *flats)
    for played in flats:
        check(cast, played, after=7)
        check(cast, played, after=14)
    if day <= SOLD_UNTIL:
        sell(cast, flats, after=SOLD_AFTER, customer=CUSTOMERS[day % len(CUSTOMERS)])


def _own_paper() -> None:
    """A paper of the farm's own, by its measures, whose printer pulls it in a little low."""
    measures = {
        "label_width_mm": "64", "label_height_mm": "34", "columns": 3, "rows": 8,
        "left_mm": "8", "top_mm": "12", "pitch_x_mm": "66", "pitch_y_mm": "34", "shift_y_mm": "-0.8",
    }  # fmt: skip
    values = {name: Decimal(value) if isinstance(value, str) else value for name, value in measures.items()}
    save_paper(LabelStock(), {"name": OWN_PAPER, "paper": LabelStock.Paper.A4, **values})


def _open_now(cast: Cast, now: datetime) -> None:
    """Leave a session open with one flat finished, its label not yet printed, and one in hand; and a roll."""
    began = now - timedelta(minutes=50)
    session = start_session(stamp=cast.stamp(began), place=cast.places["Bench 1"], key=cast.uuid())
    shift = Shift(session, 0)
    run = begin(cast, shift, RECIPES[0], started=began + timedelta(minutes=5))
    finish(cast, shift, run.flat, RECIPES[0], blanks=1)
    LabelPrint.objects.filter(code=run.flat.code).delete()
    begin(cast, shift, RECIPES[1], started=began + timedelta(minutes=20))
    for _ in range(ROLL):
        PrintedCode.objects.create(
            code=issue_code(FLAT, cast.rng), printed_at=began, printed_by=cast.accounts[GROWER]
        )
