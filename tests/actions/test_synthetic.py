"""The invented book: as large as asked for, possible, and the same each time."""

import pytest
from django.core.exceptions import ValidationError
from django.db.models import F

from nursery.actions.synthetic import make_synthetic_book
from nursery.calc.codes import read_code
from nursery.calc.take import dispersion
from nursery.models import DayCount, Flat, Run
from nursery.models.takes import TakeBy, take_report
from tests.factories import make_flat

pytestmark = pytest.mark.django_db


def test_it_holds_what_was_asked_for_and_nothing_impossible():
    book = make_synthetic_book(20_000)
    assert (book.cells, book.runs, book.flats) == (20_000, 400, 280)
    assert (Run.objects.count(), Flat.objects.count(), DayCount.objects.count()) == (400, 280, book.counts)
    assert {read_code(code) for code in Flat.objects.values_list("code", flat=True)}
    # The constraints of the table hold the rest; a complete count is the sum of its parts.
    assert not DayCount.objects.exclude(grafted=F("alive") + F("dead") + F("gone")).exists()
    waiting = Run.objects.exclude(day_counts__is_record=True)
    assert 0 < waiting.count() < 20


def test_the_same_seed_gives_the_same_counts_and_another_gives_others():
    def counts(seed):
        make_synthetic_book(2_000, seed=seed)
        rows = list(DayCount.objects.order_by("run_id", "day").values_list("run_id", "alive", "gone"))
        for model in (DayCount, Run, Flat):
            model.objects.all().delete()
        for model in ("Session", "Season", "Worker", "Pairing", "Cultivar"):
            getattr(__import__("nursery.models", fromlist=[model]), model).objects.all().delete()
        return rows

    assert counts(1) == counts(1) != counts(2)


def test_a_book_with_flats_is_left_alone():
    make_flat()
    with pytest.raises(ValidationError, match="holds flats already"):
        make_synthetic_book(1_000)
    assert Flat.objects.count() == 1


def test_its_report_is_what_its_flats_say():
    """The sums that the database made, against the same from the single flats in plain Python."""
    make_synthetic_book(20_000)
    flats = {}
    for crop, pairing, flat, total, took in DayCount.objects.records().values_list(
        "pairing__scion__crop__name", "pairing_id", "flat_id", F("grafted") - F("gone_early"),
        F("alive") + F("gone") - F("gone_early"),
    ):  # fmt: skip
        before = flats.setdefault(crop, {}).get((pairing, flat), (0, 0))
        flats[crop][pairing, flat] = before[0] + took, before[1] + total
    report = take_report(by=TakeBy.PAIRING)
    assert {crop.crop for crop in report.crops} == set(flats)
    for crop in report.crops:
        of_crop = flats[crop.crop]
        alive, grafted = zip(*of_crop.values(), strict=True)
        phi, df = dispersion(alive, grafted, groups=[pairing for pairing, _flat in of_crop])
        assert (crop.dispersion, crop.df) == (pytest.approx(phi, rel=1e-9), df)
        assert sum(row.alive for row in crop.rows) == sum(alive)
