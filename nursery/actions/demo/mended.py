"""Stories of mistakes and their mending: wrong person, lot or flat, a look that was none, labels alike."""

from nursery.actions.codes import issue_code
from nursery.actions.corrections import correct_runs
from nursery.actions.demo.cast import AMBER, AMBER_TALLOW, PEPPER, PLUM, RUBY, Cast
from nursery.actions.demo.check import as_fated, check_flat
from nursery.actions.demo.fate import fates_of
from nursery.actions.demo.play import Played, Shift, check, graft, move, print_label
from nursery.actions.demo.scenes import grown, living, look_on, says_of, stamp_on
from nursery.actions.mending import give_check, void_check
from nursery.actions.twins import add_twin
from nursery.calc.codes import FLAT
from nursery.models import Check, Flat, Run, State


def corrected(cast: Cast, shift: Shift) -> list[Flat]:
    """On two flats the wrong seed lot was written down, on one of them the wrong person as well."""
    first, second = (grown(cast, shift, AMBER) for _ in range(2))
    runs = list(Run.objects.named().filter(flat__in=[first.flat, second.flat]).order_by("pk"))
    used = runs[0].run_sowings.get(side="scion").sowing
    others = [s for s in cast.sowings[runs[0].pairing.scion_id] if s.lot_id != used.lot_id]
    other = max((s for s in others if s.sown_on < used.sown_on), key=lambda sowing: sowing.sown_on)
    correct_runs(
        runs, changes={"scion_sowings": (other,)}, reason="The packet on the bench was the other lot",
        stamp=stamp_on(cast, first, 2, by="Wren"),
    )  # fmt: skip
    names = [cast.workers[name] for name in ("Teal", "Ash")]
    worker = next(one for one in names if one != runs[0].worker)
    correct_runs(
        runs[:1], changes={"worker": worker}, reason=f"{worker} grafted this one",
        stamp=stamp_on(cast, first, 3, by="Wren"),
    )  # fmt: skip
    return [first.flat, second.flat]


def given(cast: Cast, shift: Shift) -> list[Flat]:
    """Two flats stood side by side, and the first one's label was scanned for the second."""
    first, second = (graft(cast, shift, RUBY) for _ in range(2))
    for played in (first, second):
        move(cast, played)
        check(cast, played, after=7)
    wrong = check_flat(cast, look_on(cast, first, 14, hour=8), as_fated(second.fates, 14))
    give_check(
        Check.objects.get(uuid=wrong.uuid), to_flat=second.flat, reason="That was the flat beside it",
        stamp=stamp_on(cast, first, 14, hour=9, by="Wren"),
    )  # fmt: skip
    check_flat(cast, look_on(cast, first, 14, hour=10), as_fated(first.fates, 14))
    return [second.flat, first.flat]


def voided(cast: Cast, shift: Shift) -> list[Flat]:
    """A new helper tried the tablet out on a real flat."""
    played = graft(cast, shift, PLUM)
    move(cast, played)
    check(cast, played, after=7)
    marked = living(cast, played, 10)[:9]
    tried = check_flat(
        cast, look_on(cast, played, 10, by="Rowan"), says_of(dict.fromkeys(marked, (State.DEAD, "other")))
    )
    void_check(
        Check.objects.get(uuid=tried.uuid), reason="Only to try the tablet",
        stamp=stamp_on(cast, played, 10, hour=17, by="Wren"),
    )  # fmt: skip
    check(cast, played, after=14)
    return [played.flat]


def two_labels(cast: Cast, shift: Shift) -> list[Flat]:
    """The label was thought lost and printed again."""
    played = grown(cast, shift, AMBER_TALLOW)
    print_label(cast, played.flat, cast.at(played.day + 9, 16))
    return [played.flat]


def twins(cast: Cast, shift: Shift) -> list[Flat]:
    """Two labels of one code, on two flats: the second is a flat of its own now."""
    played = graft(cast, shift, PEPPER)
    move(cast, played)
    print_label(cast, played.flat, cast.at(played.day, 12))
    check(cast, played, after=7)
    twin = add_twin(played.flat, stamp=stamp_on(cast, played, 8, by="Wren"))
    twin.code = issue_code(FLAT, cast.rng)  # the same every time
    twin.save(update_fields=["code"])
    print_label(cast, twin, cast.at(played.day + 8, 12))
    grafters = dict(twin.cells.values_list("place_no", "run__worker__name"))
    fates = fates_of(played.places, take=PEPPER.take, grafters=grafters, rng=cast.rng)
    for one in (played, Played(twin, played.day, fates, played.places)):
        check(cast, one, after=14)
    return [played.flat, twin]
