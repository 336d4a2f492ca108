"""Stories of checks: half a flat, numbers only, closed too soon, marked too late, people who differ."""

from dataclasses import replace
from datetime import timedelta

from nursery.actions.batch import Batch, CheckIn, ClosingIn, Sender
from nursery.actions.closings import ask_to_reopen
from nursery.actions.demo.cast import AMBER, AMBER_TALLOW, CUCUMBER, PLUM, RUBY, RUBY_TALLOW, Cast, Recipe
from nursery.actions.demo.check import as_fated, check_flat, go_on, mark_of, send
from nursery.actions.demo.play import Played, Shift, check, graft, move
from nursery.actions.demo.scenes import cell_in, grown, look_on, stamp_on, taken_after
from nursery.actions.demo_accounts import CREW, GROWER
from nursery.actions.marks import receive_batch
from nursery.actions.numbers import count_by_numbers
from nursery.actions.settling import flat_disputes, settle
from nursery.actions.stamp import Stamp
from nursery.models import Cell, Check, Closing, Flat, State


def half(cast: Cast, shift: Shift) -> list[Flat]:
    """On day 14 lunch came after row C."""
    played = _week_old(cast, shift, AMBER)
    look = replace(look_on(cast, played, 14, hour=11), seen=tuple(range(1, 37)))
    seen = {place: fate for place, fate in played.fates.items() if place in look.seen}
    check_flat(cast, look, as_fated(seen, 14))
    return [played.flat]


def by_numbers(cast: Cast, shift: Shift) -> list[Flat]:
    """Counted, not tapped: so many dead and wilting, and nobody says which."""
    played = graft(cast, shift, replace(CUCUMBER, take=0.62))
    move(cast, played)
    run = played.flat.runs.get()
    for after in (7, 14):
        gone = sum(fate.dies_on <= after for fate in played.fates.values())
        wilting = sum(fate.wilts and fate.dies_on > after for fate in played.fates.values())
        numbers = {run: (gone, wilting if after == 7 else 0)}
        stamp = stamp_on(cast, played, after, by="Juniper")
        count_by_numbers(played.flat, uuid=cast.uuid(), numbers=numbers, stamp=stamp)
    return [played.flat]


def reopened(cast: Cast, shift: Shift) -> list[Flat]:
    """Closed by accident after two rows; the grower opened it again and the rest was looked at."""
    played = _week_old(cast, shift, RUBY)
    look = look_on(cast, played, 14)
    begun = {place: fate for place, fate in played.fates.items() if place <= 24}
    opened = check_flat(cast, look, as_fated(begun, 14))
    check_row = Check.objects.get(uuid=opened.uuid)
    at = look.at + timedelta(minutes=10)
    closed = tuple(str(uuid) for uuid in check_row.closings.values_list("uuid", flat=True))
    again = ClosingIn(cast.uuid(), opened.uuid, at, kind=Closing.Kind.REOPEN, replaces=closed)
    receive_batch(Batch(at, closings=[again]), Sender(cast.accounts[GROWER], None, at))
    go_on(cast, replace(look, at=at), opened, as_fated(played.fates, 14))
    return [played.flat]


def asked(cast: Cast, shift: Shift) -> list[Flat]:
    """Ash, who may not open it again, asks: the last row was not looked at."""
    played = grown(cast, shift, RUBY_TALLOW)
    last = played.flat.checks.latest("opened_at")
    stamp = Stamp.of(last.opened_at + timedelta(hours=1), cast.accounts[CREW], cast.workers["Ash"])
    ask_to_reopen(last, stamp=stamp, reason="Row F was not looked at")
    return [played.flat]


def disagreed(cast: Cast, shift: Shift) -> list[Flat]:
    """Two tablets, neither knowing of the other: one says wilting, the other dead."""
    played = grown(cast, shift, PLUM)
    _say_different_things(cast, played, 16)
    return [played.flat]


def settled(cast: Cast, shift: Shift) -> list[Flat]:
    """The same, but two days later the grower went and looked: it was dead."""
    played = grown(cast, shift, AMBER_TALLOW)
    _say_different_things(cast, played, 51)
    dispute = flat_disputes(played.flat)[0]
    settle(
        Cell.objects.get(pk=dispute.cell.id), uuids=dispute.open_uuids, state=State.DEAD,
        reason="Looked again: dead", stamp=stamp_on(cast, played, 17, by="Wren"),
    )  # fmt: skip
    return [played.flat]


def amended(cast: Cast, shift: Shift) -> list[Flat]:
    """A mark that reached the book a day after its check was closed."""
    played = _week_old(cast, shift, AMBER_TALLOW)
    look = look_on(cast, played, 14, by="Ash")
    opened = check_flat(cast, look, lambda cell: None)
    cell = cell_in(cast, played.flat, taken_after(played, 40))
    late = replace(look, at=look.at + timedelta(days=1))
    mark = replace(mark_of(cast, opened, cell, state=State.DEAD, cause="rot"), at=look.at)
    send(cast, late, marks=[mark])
    return [played.flat]


def _week_old(cast: Cast, shift: Shift, recipe: Recipe) -> Played:
    played = graft(cast, shift, recipe)
    move(cast, played)
    check(cast, played, after=7)
    return played


def _say_different_things(cast: Cast, played: Played, place: int) -> None:
    cell = cell_in(cast, played.flat, taken_after(played, place))
    for name, state in (("Juniper", State.WILTING), ("Ash", State.DEAD)):
        look = look_on(cast, played, 15, by=name)
        opened = CheckIn(cast.uuid(), played.flat.code, look.at, worker=look.worker.key)
        send(cast, look, checks=[opened], marks=[mark_of(cast, opened, cell, state=state)])
