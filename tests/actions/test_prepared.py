"""A prepared query answers as the plain one does, for any number of keys, and is written once."""

from uuid import uuid4

import pytest
from django.db.models import Q

from nursery.actions.prepared import by_id, by_text, by_uuid
from nursery.models import Check, Flat, Mark
from tests.actions.test_marks import check_in, close, mark_in, send
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db


@pytest.fixture
def flats(farm):
    flats = [make_flat(2, 6) for _number in range(5)]
    for flat in flats:
        make_run(flat, places=range(1, 13))
        check = check_in(flat)
        send(checks=[check], marks=[mark_in(check, 1), mark_in(check, 2)], closings=[close(check)])
    return flats


MARKS = by_id(
    lambda keys: (
        Mark.objects.filter(Q(check_ref__flat__in=keys) | Q(cell__flat__in=keys))
        .order_by("pk")
        .values_list("uuid", "check_ref__day", "replaces", "is_clock_odd", "at", "check_ref__leaving")
    )
)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 5])
def test_answers_as_the_plain_query_does(flats, count):
    keys = [flat.pk for flat in flats[:count]]
    assert MARKS.rows(keys) == (list(MARKS._build(keys)) if keys else [])
    assert len(MARKS.rows(keys)) == 2 * count


def test_is_written_once_for_as_many_keys(flats, django_assert_num_queries):
    MARKS.rows([flats[0].pk])
    plain = list(MARKS._build([flats[1].pk]))
    with django_assert_num_queries(1):
        assert MARKS.rows([flats[1].pk]) == plain
    assert MARKS._written(1) is MARKS._written(1)


def test_many_keys_are_asked_for_in_parts(flats, django_assert_num_queries):
    keys = [flat.pk for flat in flats] + list(range(10**9, 10**9 + 700))
    with django_assert_num_queries(2):
        assert len(MARKS.rows(keys)) == 10


def test_uuids_and_codes(flats):
    checks = by_uuid(lambda keys: Check.objects.filter(uuid__in=keys).values_list("uuid", "flat"))
    codes = by_text(lambda keys: Flat.objects.filter(code__in=keys).order_by("pk").values_list("code", "id"))
    stored = dict(Check.objects.values_list("uuid", "flat"))
    assert dict(checks.rows([*stored, uuid4()])) == stored
    assert checks.rows([uuid4()]) == []
    assert codes.rows([flat.code for flat in flats[:3]]) == [(flat.code, flat.pk) for flat in flats[:3]]
