"""Opening a closed check again."""

import pytest
from django.utils import timezone

from nursery.models import Closing, DayCount
from tests.factories import make_flat, make_run
from tests.views.checking import check_flat


@pytest.fixture
def check(db):
    flat = make_flat()
    make_run(flat)
    return check_flat(flat, {2: "dead"})


def reopen(client, check):
    return client.post(f"/{check.flat.code}/check/{check.uuid}/reopen")


def test_a_grower_opens_it_again_and_goes_on_with_it(grower, check):
    answer = reopen(grower, check)
    assert (answer.status_code, answer.url) == (302, f"/{check.flat.code}/check?goes_on={check.uuid}")
    check.refresh_from_db()
    assert not check.is_closed
    closed, opened = Closing.objects.order_by("pk")
    assert (opened.kind, opened.replaces) == ("reopen", [str(closed.uuid)])
    assert not DayCount.objects.get(day=timezone.localdate()).is_closed


def test_doing_it_twice_changes_nothing_more(grower, check):
    reopen(grower, check)
    reopen(grower, check)
    check.refresh_from_db()
    assert not check.is_closed


@pytest.mark.parametrize(("client", "status"), [("crew", 403), ("tablet", 403), ("stranger", 302)])
def test_nobody_but_a_grower(request, check, client, status):
    assert reopen(request.getfixturevalue(client), check).status_code == status
    check.refresh_from_db()
    assert check.is_closed


def test_it_is_posted(grower, check):
    assert grower.get(f"/{check.flat.code}/check/{check.uuid}/reopen").status_code == 405
