"""Sowing, in flats or not, and counting the stand."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from nursery.actions.sowings import SownFlats, count_stand, save_sowing
from nursery.actions.stamp import Stamp
from nursery.models import Flat, Sowing, StageMove
from tests.factories import make_format, make_layout, make_lot, make_sowing, make_worker

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 2, 20, 9, 0, tzinfo=UTC)


def values(**more):
    return {"lot": make_lot(), "sown_on": date(2026, 2, 9), "seeds_count": 200, **more}


def test_a_sowing_gets_a_code_of_its_own():
    save_sowing(sowing := Sowing(), values(), flats=None, stamp=Stamp.of(NOW))
    assert sowing.code.startswith("S")
    assert not Flat.objects.exists()


def test_flats_sown_get_codes_and_stand_as_sown():
    make_layout()
    wren = make_worker("Wren")
    save_sowing(
        sowing := Sowing(), values(), flats=SownFlats(3, make_format()), stamp=Stamp.of(NOW, worker=wren)
    )
    flats = list(Flat.objects.with_stage().filter(sowing=sowing))
    assert len({flat.code for flat in flats}) == 3
    assert {(flat.stage, flat.tray_format.name, flat.layout.pattern) for flat in flats} == {
        ("sown", "72", "every")
    }
    assert set(StageMove.objects.values_list("by_worker", "at")) == {(wren.pk, NOW)}
    sowing.refresh_from_db()
    assert sowing.is_in_flats


def test_nothing_is_stored_where_no_layout_fits():
    with pytest.raises(ValidationError) as caught:
        save_sowing(Sowing(), values(), flats=SownFlats(3, make_format()), stamp=Stamp.of(NOW))
    assert "flats_count" in caught.value.message_dict
    assert not Sowing.objects.exists()


def test_more_flats_join_a_sowing():
    make_layout()
    sowing = make_sowing()
    save_sowing(sowing, {}, flats=SownFlats(2, make_format()), stamp=Stamp.of(NOW))
    assert sowing.flats.count() == 2


def test_a_stand_without_a_day_was_counted_today():
    save_sowing(sowing := Sowing(), values(stand_count=150), flats=None, stamp=Stamp.of(NOW))
    sowing.refresh_from_db()
    assert sowing.stand_counted_on == date(2026, 2, 20)


def test_plants_are_not_counted_in_the_future():
    tomorrow = timezone.localdate() + timedelta(days=1)
    odd = values(stand_count=150, stand_counted_on=tomorrow)
    with pytest.raises(ValidationError, match="in the future"):
        save_sowing(Sowing(), odd, flats=None, stamp=Stamp.of(NOW))
    with pytest.raises(ValidationError, match="in the future"):
        count_stand(make_sowing(), stand=1, usable=None, counted_on=tomorrow)


def test_a_day_of_sowing_after_the_count_that_is_stored_is_refused():
    sowing = make_sowing(stand_count=150, stand_counted_on=date(2026, 2, 20))
    with pytest.raises(ValidationError, match="counted before they were sown"):
        save_sowing(sowing, {"sown_on": date(2026, 2, 21)}, flats=None, stamp=Stamp.of(NOW))


def test_counts_the_stand():
    sowing = make_sowing(seeds_count=200)
    count_stand(sowing, stand=180, usable=170, counted_on=date(2026, 2, 20))
    sowing.refresh_from_db()
    assert (sowing.stand_count, sowing.usable_count) == (180, 170)
    assert sowing.stand_counted_on == date(2026, 2, 20)


def test_counting_keeps_columns_changed_meanwhile():
    sowing = make_sowing(note="old")
    Sowing.objects.update(note="new")
    count_stand(sowing, stand=10, usable=None, counted_on=date(2026, 2, 20))
    sowing.refresh_from_db()
    assert (sowing.note, sowing.stand_count) == ("new", 10)


def test_seeds_changed_meanwhile_cannot_fall_below_the_stand():
    """The rule looks at the row in memory; what others wrote meanwhile the database holds against it."""
    sowing = make_sowing(seeds_count=200)
    Sowing.objects.update(seeds_count=100)
    with pytest.raises(ValidationError, match="just stored"):
        count_stand(sowing, stand=150, usable=None, counted_on=date(2026, 2, 20))
    assert Sowing.objects.get().stand_count is None


@pytest.mark.parametrize(
    ("stand", "usable", "counted_on", "field"),
    [
        (201, None, date(2026, 2, 20), "stand_count"),
        (180, 181, date(2026, 2, 20), "usable_count"),
        (180, 170, date(2026, 2, 8), "stand_counted_on"),
    ],
)
def test_refuses_an_impossible_stand(stand, usable, counted_on, field):
    sowing = make_sowing(seeds_count=200)
    with pytest.raises(ValidationError) as caught:
        count_stand(sowing, stand=stand, usable=usable, counted_on=counted_on)
    assert field in caught.value.message_dict
    assert Sowing.objects.get().stand_count is None
