"""Stories of the bench: who grafted what, from which seed, on which roots, and what was grafted again."""

from dataclasses import replace
from datetime import timedelta

from nursery.actions.demo.cast import AMBER, PLUM, RUBY, TONGUE, Cast
from nursery.actions.demo.play import Shift, begin, check, finish, graft, move, on_pairing
from nursery.actions.demo.scenes import dead, graft_again, grown, looked_at, stamp_on
from nursery.actions.leaving import sever
from nursery.actions.runs import use_sowing
from nursery.actions.work import Work
from nursery.models import Flat, Run


def mixed(cast: Cast, shift: Shift) -> list[Flat]:
    """Two scions on one rootstock in one flat."""
    run = begin(cast, shift, AMBER)
    on_pairing(run, Work.of(run), cast, RUBY, minutes=15)
    played = finish(cast, shift, run.flat, AMBER)
    move(cast, played)
    return [looked_at(cast, played).flat]


def taken_over(cast: Cast, shift: Shift) -> list[Flat]:
    """Somebody takes over in the middle of a flat with blanks."""
    return [grown(cast, shift, AMBER, over_at=31, blanks=3).flat]


def two_lots(cast: Cast, shift: Shift) -> list[Flat]:
    """One seed lot ran out in the middle of the flat; which plant is of which is not known."""
    run = begin(cast, shift, AMBER)
    used = Work.of(run).scion_sowings[0]
    other = next(s for s in cast.sowings[run.pairing.scion_id] if s.lot_id != used.lot_id)
    stamp = cast.stamp((run.started_at or cast.at(shift.day, 8)) + timedelta(minutes=10), run.worker)
    use_sowing(run, sowing=other, beside=True, stamp=stamp)
    played = finish(cast, shift, run.flat, AMBER)
    move(cast, played)
    return [looked_at(cast, played).flat]


def own_and_restuck(cast: Cast, shift: Shift) -> list[Flat]:
    """Two flats alike, one on its own roots, one with the roots cut off."""
    own = grown(cast, shift, PLUM)
    restuck = grown(cast, shift, replace(PLUM, roots=Run.Roots.RESTUCK, take=PLUM.take - 0.05))
    return [own.flat, restuck.flat]


def grafted_again(cast: Cast, shift: Shift) -> list[Flat]:
    """Dead plants grafted again on day 7, by somebody else; the first grafts stay dead."""
    played = graft(cast, shift, RUBY)
    move(cast, played)
    check(cast, played, after=7)
    graft_again(cast, played, dead(cast, played, 7), after=7)
    check(cast, played, after=14)
    check(cast, played, after=21)
    return [played.flat]


def filled(cast: Cast, shift: Shift) -> list[Flat]:
    """Blanks filled two days later."""
    played = graft(cast, shift, AMBER, blanks=4)
    move(cast, played)
    graft_again(cast, played, sorted(set(range(1, 73)) - set(played.places)), after=2)
    check(cast, played, after=7)
    check(cast, played, after=14)
    check(cast, played, after=17)
    return [played.flat]


def severed(cast: Cast, shift: Shift) -> list[Flat]:
    """A tongue approach: its take counts from the second cut on day 7."""
    played = graft(cast, shift, TONGUE)
    move(cast, played)
    stamp = stamp_on(cast, played, 7, by="Wren")
    sever(played.flat.runs.get(), severed_on=cast.day(played.day + 7), stamp=stamp)
    check(cast, played, after=14)
    check(cast, played, after=21)
    return [played.flat]
