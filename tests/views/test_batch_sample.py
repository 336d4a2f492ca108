"""A sample of a batch is enough for now."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.models import Check
from tests.factories import make_flat, make_pairing, make_run, make_session
from tests.views.checking import check_flat


def batch(number, pairing=None, session=None):
    """Flats of two cells grafted a week ago."""
    pairing, session = pairing or make_pairing(), session or make_session()
    grafted_on = timezone.localdate() - timedelta(days=7)
    return [
        make_run(places=[1, 2], pairing=pairing, session=session, grafted_on=grafted_on)
        for _ in range(number)
    ]


def due(client):
    html = client.get("/").content.decode()
    return html, re.findall(r'href="/(F\w{6})/check"', html)


def sample(client, run, **data):
    return client.post(f"/sample/{run.session.key}/{run.pairing.key}", data)


def test_12_of_40_flats_are_proposed_and_reloading_proposes_the_same(crew):
    runs = batch(40)
    html, codes = due(crew)
    assert "40 of 40 flats are due" in html and "Count a sample of 12" in html and len(codes) == 30
    assert sample(crew, runs[0]).url == "/"
    html, codes = due(crew)
    assert "A sample of 12 of 40 flats, 0 counted" in html and len(set(codes)) == len(codes) == 12
    assert due(crew)[1] == codes


def test_another_device_draws_the_same_flats(crew, grower):
    runs = batch(20)
    for client in (crew, grower):
        sample(client, runs[0])
    assert due(crew)[1] == due(grower)[1] and len(due(crew)[1]) == 6


def test_counting_goes_on_within_the_sample_until_it_is_enough(crew):
    runs = batch(20)
    sample(crew, runs[0])
    codes = due(crew)[1]
    flats = {run.flat.code: run.flat for run in runs}
    check_flat(flats[codes[0]], {})
    html, left = due(crew)
    assert "A sample of 6 of 20 flats, 1 counted" in html and set(left) == set(codes[1:])
    for code in codes[1:]:
        check_flat(flats[code], {})
    html, left = due(crew)
    assert "6 counted" in html and left == [] and "The samples are counted" in html
    assert Check.objects.count() == 6


def test_all_are_counted_again_at_a_touch(crew):
    runs = batch(20)
    sample(crew, runs[0])
    sample(crew, runs[0], all="")
    assert len(due(crew)[1]) == 20


def test_flats_of_other_batches_stay_due(crew):
    runs, others = batch(20), batch(3)
    sample(crew, runs[0])
    html, codes = due(crew)
    assert len(codes) == 9 and {run.flat.code for run in others} <= set(codes)
    assert html.count("Count a sample") == 0  # three flats are no batch to sample


def test_another_pairing_of_the_same_session_is_another_batch(crew):
    session = make_session()
    runs, others = batch(20, session=session), batch(20, session=session)
    sample(crew, runs[0])
    codes = set(due(crew)[1])
    assert len(codes & {run.flat.code for run in runs}) == 6
    assert {run.flat.code for run in others} <= codes


def test_who_may_and_how(crew, stranger):
    runs = batch(10)
    url = f"/sample/{runs[0].session.key}/{runs[0].pairing.key}"
    assert stranger.post(url).url.split("?")[0] == "/login"
    assert crew.get(url).status_code == 405
    assert crew.post(f"/sample/{uuid4()}/{runs[0].pairing.key}").status_code == 404


def test_runs_without_a_session_are_no_batch(crew, db):
    pairing = make_pairing()
    for _ in range(12):
        make_run(
            make_flat(), places=[1], pairing=pairing, grafted_on=timezone.localdate() - timedelta(days=7)
        )
    html, codes = due(crew)
    assert "Count a sample" not in html and len(codes) == 12


@pytest.mark.parametrize("sampled", [False, True])
def test_as_many_queries_for_many_batches_as_for_one(crew, sampled):
    counted = []
    for number in (1, 3):
        for _ in range(number):
            runs = batch(10)
            if sampled:
                sample(crew, runs[0])
        with CaptureQueriesContext(connection) as captured:
            due(crew)
        counted.append(len(captured))
    assert counted[0] == counted[1]
