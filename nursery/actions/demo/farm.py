"""Play the invented season from its first session to the one that is open now."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import islice

from django.core.exceptions import ValidationError
from django.db import transaction

from nursery.actions.blades import note_blade
from nursery.actions.codes import issue_code
from nursery.actions.demo.cast import RECIPES, Cast, Recipe, cast_the_farm
from nursery.actions.demo.play import Shift, begin, check, finish, graft, move
from nursery.actions.demo.stories import tell_stories
from nursery.actions.demo_accounts import GROWER
from nursery.actions.sessions import end_session, pause_session, resume_session, start_session
from nursery.calc.codes import FLAT
from nursery.models import Account, BladeEvent, Flat, LabelPrint, PrintedCode

GRAFTING_DAYS = (-56, -53, -49, -46, -42, -39, -35, -32, -28, -25, -21, -18, -14, -11, -7, -4)
ROLL = 12


@transaction.atomic
def load_demo(now: datetime) -> int:
    """Build the demonstration farm as it stands at ``now`` in an empty book; return the number of flats.

    ValidationError if the book is not empty: nothing of a real farm is ever mixed with the demonstration.
    """
    if Account.objects.exists() or Flat.objects.exists():
        raise ValidationError("The book is not empty: the demonstration farm needs one of its own.")
    cast = cast_the_farm(now.date())
    queue = _flats_of_season(cast)
    for day in GRAFTING_DAYS:
        _play_day(cast, day, queue)
    tell_stories(cast)
    _open_now(cast, now)
    return Flat.objects.count()


def _flats_of_season(cast: Cast) -> Iterator[Recipe]:
    recipes = [recipe for recipe in RECIPES for _ in range(recipe.flats)]
    cast.rng.shuffle(recipes)
    return iter(recipes)


def _play_day(cast: Cast, day: int, queue: Iterator[Recipe]) -> None:
    """Graft three or four flats on one day, with a break, then heal and check them."""
    session = start_session(stamp=cast.stamp(cast.at(day, 8)), place=cast.places["Bench 1"], key=cast.uuid())
    blade = cast.stamp(cast.at(day, 8), cast.workers["Wren"])
    note_blade(session, kind=BladeEvent.Kind.CHANGED, stamp=blade)
    shift = Shift(session, day)
    flats = [
        graft(cast, shift, recipe, order=order, blanks=cast.rng.choice([0, 0, 1, 2]))
        for order, recipe in enumerate(islice(queue, 3 + day % 2))
    ]
    pause_session(session, stamp=cast.stamp(cast.at(day, 12)))
    resume_session(session, stamp=cast.stamp(cast.at(day, 12, 45)))
    end_session(session, stamp=cast.stamp(cast.at(day, 13)))
    for played in flats:
        move(cast, played)
        check(cast, played, after=7)
        check(cast, played, after=14)


def _open_now(cast: Cast, now: datetime) -> None:
    """Leave a session open with one flat finished, its label not yet printed, and one in hand; and a roll."""
    began = now - timedelta(minutes=50)
    session = start_session(stamp=cast.stamp(began), place=cast.places["Bench 1"], key=cast.uuid())
    shift = Shift(session, 0)
    run = begin(cast, shift, RECIPES[0], worker=cast.workers["Wren"], started=began + timedelta(minutes=5))
    finish(cast, shift, run.flat, RECIPES[0], blanks=1)
    LabelPrint.objects.filter(code=run.flat.code).delete()
    begin(cast, shift, RECIPES[1], worker=cast.workers["Ash"], started=began + timedelta(minutes=20))
    for _ in range(ROLL):
        PrintedCode.objects.create(
            code=issue_code(FLAT, cast.rng), printed_at=began, printed_by=cast.accounts[GROWER]
        )
