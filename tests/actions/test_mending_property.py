"""Whatever is mended, in whatever order: every count is borne out by the marks."""

import random
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from nursery.actions.corrections import correct_runs, put_back
from nursery.actions.mending import give_check, unvoid_check, void_check
from nursery.actions.recount import differences
from nursery.actions.settling import flat_disputes, settle
from nursery.actions.stamp import Stamp
from nursery.models import Cell, Change, Check, DayCount, Mark, Run
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send
from tests.factories import GRAFTED_ON, make_flat, make_lot, make_pairing, make_run, make_season, make_sowing

pytestmark = pytest.mark.django_db
STATES = ["dead", "wilting", "firm"]


class Farm:
    """Three flats of six, and somebody who mends at random."""

    def __init__(self, seed):
        self.rng, self.now = random.Random(seed), DAY_14
        make_season()
        self.pairings = [make_pairing() for _ in range(2)]
        self.sowings = [make_sowing(make_lot(pairing.scion)) for pairing in self.pairings]
        self.flats = [make_flat(2, 3) for _ in range(3)]
        for flat in self.flats:
            make_run(flat, places=range(1, 4), pairing=self.pairings[0])
            make_run(flat, places=range(4, 7), pairing=self.pairings[1])

    def stamp(self):
        self.now += timedelta(minutes=7)
        return Stamp.of(self.now)

    def check(self):
        at = DAY_14 + timedelta(days=self.rng.randint(-8, 1), minutes=self.rng.randint(0, 500))
        check = check_in(self.rng.choice(self.flats), at)
        known = [str(uuid) for uuid in Mark.objects.values_list("uuid", flat=True)]
        marks = [
            mark_in(
                check, place, self.rng.choice(STATES),
                replaces=tuple(self.rng.sample(known, min(len(known), self.rng.randint(0, 3)))),
            )
            for place in self.rng.sample(range(1, 7), self.rng.randint(0, 3))
        ]  # fmt: skip
        closings = [close(check)] if self.rng.random() < 0.8 else []
        send(checks=[check], marks=marks, closings=closings, received_at=at)

    def give(self):
        check = self.rng.choice(list(Check.objects.select_related("flat")) or [None])
        give_check(check, to_flat=self.rng.choice(self.flats), reason="", stamp=self.stamp())

    def void(self):
        check = self.rng.choice(list(Check.objects.select_related("flat")))
        turn = unvoid_check if check.is_void else void_check
        turn(check, reason="at random", stamp=self.stamp())

    def correct(self):
        changes = self.rng.choice(
            [
                {"pairing": self.rng.choice(self.pairings)},
                {"grafted_on": GRAFTED_ON + timedelta(days=self.rng.randint(-3, 9))},
                {"method": self.rng.choice(["splice", "tongue"])},
                {"scion_sowings": (self.rng.choice(self.sowings),)},
            ]
        )
        runs = self.rng.sample(list(Run.objects.all()), 2)
        correct_runs(runs, changes=changes, reason="at random", stamp=self.stamp())

    def put_back(self):
        changes = list(Change.objects.filter(run__isnull=False))
        if changes:
            put_back(self.rng.choice(changes), stamp=self.stamp())

    def settle(self):
        for dispute in flat_disputes(self.rng.choice(self.flats))[:1]:
            said = set(Mark.objects.filter(uuid__in=dispute.open_uuids).values_list("state", flat=True))
            cell = Cell.objects.get(pk=dispute.cell.id)
            settle(
                cell, uuids=dispute.open_uuids, state=self.rng.choice(sorted(said)), reason="",
                stamp=self.stamp(),
            )  # fmt: skip

    def live(self, steps):
        acts = [self.check, self.check, self.give, self.void, self.correct, self.put_back, self.settle]
        done, turns = set(), acts * steps
        self.rng.shuffle(turns)
        for act in [self.check, *turns]:
            try:
                with transaction.atomic():
                    act()
                done.add(act.__name__)
            except ValidationError:
                pass
            assert list(differences()) == [], act.__name__
        return done


@pytest.mark.parametrize("seed", range(3))
def test_no_mending_leaves_a_wrong_count(farm, seed, whole):
    book = Farm(seed)
    done = book.live(25 if whole else 3)
    assert len(done) >= 4, done
    for flat in book.flats:  # what is in dispute is flagged, and can be settled to the last cell
        while disputes := flat_disputes(flat):
            uuid = disputes[0].open_uuids[0]
            settle(
                Cell.objects.get(pk=disputes[0].cell.id),
                uuids=disputes[0].open_uuids,
                state=Mark.objects.get(uuid=uuid).state,
                reason="",
                stamp=book.stamp(),
            )
    assert not DayCount.objects.filter(has_disagreement=True).exists()
    assert list(differences()) == []
    assert all(row.alive + row.dead + row.gone == row.seen <= row.grafted for row in DayCount.objects.all())
