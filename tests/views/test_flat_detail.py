"""The page behind a flat's code: what it tells, to whom, and at what cost."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.codes import issue_code
from nursery.actions.moving import move_cells
from nursery.actions.stamp import Stamp
from nursery.models import Flat, Run, RunSowing, StageMove, TallyRow
from tests.factories import (
    make_cultivar,
    make_flat,
    make_pairing,
    make_place,
    make_run,
    make_season,
    make_sowing,
    make_worker,
)
from tests.views.checking import add_mark, check_flat
from tests.views.test_drawing import tags


@pytest.fixture
def flat(db):
    return make_flat(blank_places=[71, 72])


@pytest.fixture
def run(flat):
    pairing = make_pairing(make_cultivar("Amber Lantern"), make_cultivar("Stonefoot"))
    worker = make_worker("Wren")
    return make_run(flat, places=range(1, 71), grafted_on=days_ago(20), pairing=pairing, worker=worker)


def days_ago(days):
    return timezone.localdate() - timedelta(days=days)


def page(client, flat, query=""):
    answer = client.get(f"/{flat.code}{query}")
    assert answer.status_code == 200
    return answer.content.decode()


def text(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html[html.index("<main") :]).split())


def test_the_flat_is_drawn_as_one_picture_with_its_numbers_in_words(crew, flat, run):
    check_flat(flat, {2: "dead", 3: "wilting"}, days_ago=4, cause="rot")
    html = page(crew, flat)
    assert tags(html, "flat-grid")[0]["aria-label"] == "69 alive, 1 of them wilting, 1 dead"
    assert {cell["tag"] for cell in tags(html, "cell")} == {"span"}
    day = days_ago(4)
    said = f"1 dead : A2, rot (since {day.day} {day:%B})"
    assert said in text(html)


def test_who_grafted_what_is_told_run_by_run(crew, flat, run):
    sowing = make_sowing()
    RunSowing.objects.create(run=run, sowing=sowing, side="scion")
    words = text(page(crew, flat))
    assert "Wren , Amber Lantern on Stonefoot" in words
    assert "70 cells: A1 to F10" in words
    assert f"scion {sowing.code[:3]}-{sowing.code[3:]}" in words
    assert "rootstock not recorded" in words


def test_two_runs_are_told_apart_in_the_drawing_and_the_list(crew, flat, run):
    Run.objects.filter(pk=run.pk).update(worker=None)
    make_run(flat, places=[71], worker=make_worker("Ash"), grafted_on=days_ago(20))
    html = page(crew, flat)
    assert {cell.get("data-run") for cell in tags(html, "cell")} == {"1", "2", None}
    assert [sign["data-run"] for sign in tags(html, "sign") if "data-run" in sign] == ["1", "2"]
    assert "not recorded , Amber Lantern on Stonefoot" in text(html)


def test_counts_by_day_mark_the_record_and_the_day_that_is_not_closed(crew, flat, run):
    check_flat(flat, {2: "dead"}, days_ago=5)  # day 15: the first closed one from day 14 on
    check_flat(flat, {3: "dead"}, days_ago=1, closes=False)
    rows = re.findall(r"<tr.*?</tr>", page(crew, flat), re.DOTALL)
    record = next(row for row in rows if "day 15" in row)
    assert "the record" in record
    assert "aria-current" in record
    assert '<span class="number">69</span> of 70' in record
    opened = next(row for row in rows if "day 19" in row)
    assert "not closed" in opened
    assert "not looked at" in opened  # but for A2 and A3, known dead
    assert "the record" not in opened


def test_flat_of_plants_that_came_tells_no_age_and_no_blanks(grower, flat, run):
    source = make_flat()
    make_run(source, places=[1, 2], pairing=run.pairing, grafted_on=days_ago(20))
    target = make_flat()
    move_cells(source, places=[1, 2], target=target, stamp=Stamp.now())
    check_flat(target, {1: "dead"}, days_ago=0)
    shown = text(page(grower, target))
    assert "1 of 2" in shown
    assert "day 0" not in shown and "not asked yet" not in shown


def test_only_a_grower_sees_what_each_grafter_took(grower, crew, tablet, flat, run):
    make_run(flat, places=[71, 72], worker=make_worker("Ash"), pairing=run.pairing, grafted_on=days_ago(20))
    check_flat(flat, {71: "dead"}, days_ago=5)
    assert "Ash: 1 of 2" in text(page(grower, flat))
    for client in (crew, tablet):
        assert "1 of 2" not in text(page(client, flat))


def test_pairings_of_a_mixed_flat_are_counted_apart_for_everybody(tablet, flat, run):
    other = make_pairing(make_cultivar("Harbour Light"), run.pairing.rootstock)
    make_run(flat, places=[71, 72], pairing=other, grafted_on=days_ago(20))
    check_flat(flat, {71: "dead"}, days_ago=5)
    words = text(page(tablet, flat))
    assert "Harbour Light on Stonefoot: 1 of 2" in words
    assert "Amber Lantern on Stonefoot: 70 of 70" in words


def test_where_it_stood_is_told_in_order(crew, flat, run):
    chamber = make_place("Chamber 2", kind="chamber")
    now = timezone.now()
    StageMove.objects.create(
        flat=flat, stage="chamber", place=chamber, **Stamp.of(now - timedelta(days=2)).fields()
    )
    StageMove.objects.create(
        flat=flat, stage="discarded", is_loss=True, reason="mould", **Stamp.of(now).fields()
    )
    words = text(page(crew, flat))
    assert words.index("Chamber 2 Chamber") < words.index("Discarded as a loss")
    assert ": mould" in words


def test_a_disagreement_says_who_says_what_and_what_counts(crew, flat, run, alice, bob):
    check = check_flat(flat, {5: "dead"}, account=alice, days_ago=1, closes=False)
    add_mark(check, 5, "wilting", account=bob, worker=bob.worker)
    words = text(page(crew, flat))
    assert "People disagree on A5. It counts as dead until it is settled." in words
    assert "alice: dead" in words
    assert "Bob: wilting" in words


def test_blanks_are_named_or_said_not_to_be_known(crew, flat, run):
    assert "Blanks F11 to F12" in text(page(crew, flat))
    Flat.objects.filter(pk=flat.pk).update(blank_places=None)
    assert "Blanks not asked yet" in text(page(crew, flat))
    Flat.objects.filter(pk=flat.pk).update(blank_places=[])
    assert "Blanks none" in text(page(crew, flat))


def main_action(html):
    return re.search(r'class="button button-main" href="([^"]*)">([^<]*)<', html)


def test_the_main_action_is_the_check_once_grafted(crew, flat, run):
    assert main_action(page(crew, flat)).groups() == (f"/{flat.code}/check", "Check this flat")
    assert f'href="/{flat.code}/label"' in page(crew, flat)


def test_the_main_action_is_the_bench_while_grafting_and_before(crew, flat):
    assert main_action(page(crew, flat)).groups() == (f"/{flat.code}/bench", "Graft on this flat")
    make_run(flat, places=[], started_at=timezone.now(), finished_at=None)
    assert main_action(page(crew, flat)).groups() == (f"/{flat.code}/bench", "Go on grafting")


def test_a_flat_that_left_has_no_main_action(crew, flat, run):
    StageMove.objects.create(flat=flat, stage="dispatched", **Stamp.now().fields())
    assert main_action(page(crew, flat)) is None


def test_after_closing_it_says_so_and_a_grower_may_open_again(grower, crew, flat, run):
    check = check_flat(flat, {2: "dead"})
    for client, may in ((grower, True), (crew, False)):
        html = page(client, flat, f"?closed={check.uuid}")
        assert "Check closed: 69 of 70 alive." in html
        assert ("Open again" in html) is may
        assert main_action(html).group(2) == "Next flat"
    assert "Check closed" not in page(crew, flat)
    opened = check_flat(flat, {}, closes=False)
    for query in ("?closed=nothing", f"?closed={opened.uuid}"):
        assert "Check closed" not in page(crew, flat, query)


def test_an_imported_tally_is_shown_as_what_it_is(crew):
    season = make_season()
    flat = Flat.objects.create(
        code=issue_code("F"), origin="tally", season=season, own_name="Plate 7", created_at=timezone.now()
    )
    run = make_run(flat, places=[], worker=make_worker("Wren"))
    row = {"checked_on": days_ago(3), "grafted": 39, "alive": 10, "imported_at": timezone.now()}
    TallyRow.objects.create(flat=flat, run=run, **row)
    words = text(page(crew, flat))
    assert "Plate 7" in words
    assert "39 10 0" in words
    assert "cannot be checked" in words
    assert f"/{flat.code}/check" not in page(crew, flat)


def test_what_people_typed_is_escaped(crew, flat, run):
    Flat.objects.filter(pk=flat.pk).update(note="<script>x</script>")
    assert "<script>x" not in page(crew, flat)


def test_as_many_queries_for_a_large_story_as_for_a_short_one(crew, flat, run):
    large = make_flat(12, 24)
    for first in (1, 97, 193):
        make_run(large, places=range(first, first + 96), worker=make_worker())
    for ago in (9, 6, 3):
        check_flat(large, dict.fromkeys(range(ago, 288, 20), "dead"), days_ago=ago)
    check_flat(flat, {2: "dead"}, days_ago=3)
    check_flat(flat, {}, days_ago=2)  # a second look asks what the first one knew, once for all
    counts = []
    for each in (large, flat):
        with CaptureQueriesContext(connection) as captured:
            page(crew, each)
        counts.append(len(captured))
    assert counts[0] == counts[1] <= 27
