"""The take page: who sees what, what it says, and what it costs."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from nursery.actions.tallies import import_tallies
from nursery.actions.tally_plan import TallyOptions
from nursery.models import Season, Worker
from nursery.templatetags.takes import percent
from tests import crowder
from tests.actions.test_tallies import TODAY
from tests.factories import make_crop, make_cultivar, make_pairing, make_run, make_season, make_worker
from tests.models.test_takes import make_count, recorded


def page(client, status=200, **filters):
    response = client.get("/takes", filters)
    assert response.status_code == status
    return re.sub(r"\s+", " ", response.content.decode().replace("\xa0", " "))


def words(html):
    """Return what is read of a page, without tags."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", html))


@pytest.fixture
def pairing(db):
    tomato = make_crop("Tomato")
    return make_pairing(make_cultivar("Amber Lantern", tomato), make_cultivar("Stonefoot", tomato))


@pytest.fixture
def other_pairing(pairing):
    return make_pairing(make_cultivar("Ruby Coach", pairing.scion.crop), pairing.rootstock)


@pytest.fixture
def two_grafters(pairing, bob):
    recorded(pairing, 70, 66, worker=bob.worker)
    recorded(pairing, 50, 40, worker=make_worker("Wren"))


@pytest.mark.parametrize(
    ("client_name", "status", "sees_bob", "sees_wren"),
    [("grower", 200, True, True), ("crew", 200, True, False), ("tablet", 403, False, False)],
)
def test_who_sees_whose_takes(client_name, status, sees_bob, sees_wren, two_grafters, request):
    client = request.getfixturevalue(client_name)
    if client_name == "tablet":
        choose_on_tablet(client)
    html = page(client, status, by="grafter")
    main = html[html.index("<main") :]
    assert ("136 of 144" in main) is sees_bob
    assert ("Wren" in main, "90 of 144" in main) == (sees_wren, sees_wren)


def choose_on_tablet(client):
    session = client.session
    session["worker"] = str(Worker.objects.get(name="Wren").key)
    session.save()


def test_the_shared_tablet_is_shown_no_way_to_the_grafters(tablet, grower, two_grafters):
    choose_on_tablet(tablet)
    assert "by=grafter" not in page(tablet)
    assert "by=grafter" in page(grower)


def test_crew_without_a_worker_sees_no_grafters(crew, bob, two_grafters):
    Worker.objects.filter(account=bob).update(account=None)
    page(crew, 403, by="grafter")


def test_the_own_row_has_the_range_of_the_whole(crew, grower, two_grafters):
    def shown(client):
        (row,) = (row for row in page(client, by="grafter").split("</tr>") if 'take-name">Bob<' in row)
        return re.findall(r'<data value="([^"]+)"', row)

    assert len(shown(crew)) == 3
    assert shown(crew) == shown(grower)


def test_strangers_go_to_the_login(stranger):
    response = stranger.get("/takes")
    assert response.status_code == 302


@pytest.mark.parametrize("filters", [{"by": "moon"}, {"season": "x"}, {"crop": str(Season().key)}])
def test_unknown_filters_are_not_found(grower, filters):
    page(grower, 404, **filters)


def test_posting_is_refused(grower):
    assert grower.post("/takes").status_code == 405


def test_an_empty_book_says_what_to_do_first(grower, tablet):
    html = page(grower)
    assert "Nothing has been counted yet" in html
    assert reverse("tally-import") in html


def test_says_counts_take_and_range_in_words(grower, pairing, other_pairing):
    recorded(pairing, 70, 68, 69)
    recorded(other_pairing, 45, 47, 46)
    html = page(grower)
    assert "207 of 216" in html
    assert '<data value="0.958333">96 %</data>' in html
    assert "The range of Amber Lantern on Stonefoot stands clear of all others." in html
    assert html.index("Amber Lantern on Stonefoot</span>") < html.index("Ruby Coach on Stonefoot</span>")
    assert re.search(r'aria-label="96 %, likely between \d+ % and \d+ %"', html)


def test_overlapping_ranges_are_too_close_to_call(grower, pairing, other_pairing):
    recorded(pairing, 70, 60)
    recorded(other_pairing, 69, 60)
    assert "read the two as too close to call" in page(grower)


def test_one_flat_cannot_tell_yet(grower, pairing):
    recorded(pairing, 70)
    html = page(grower)
    assert "Cannot tell yet: one flat says nothing about the next." in html
    assert "range-line" not in html
    assert 'class="range-dot"' in html


def test_a_lone_flat_among_others_says_whose_spread_it_leans_on(grower, pairing, other_pairing):
    recorded(pairing, 70, 60)
    recorded(other_pairing, 69)
    assert "1 flat, its range leans on how the others vary" in words(page(grower))


def test_the_axis_begins_at_a_half_if_all_lies_above(grower, pairing):
    recorded(pairing, 70, 69, 71)
    assert "<span>75</span>" in page(grower)
    recorded(pairing, 10)
    assert "<span>75</span>" not in page(grower)


def test_what_is_no_take_stands_apart(grower, pairing):
    make_count(make_run(places=[], pairing=pairing), day=7, alive=66, wilting=5, is_record=False)
    make_count(make_run(places=[], pairing=pairing), day=14, alive=30, seen=36, is_record=False)
    run = make_run(places=[], pairing=pairing)
    make_count(run, day=12, alive=10, gone=60, is_record=False)
    make_count(run, day=14, alive=8, gone=62, gone_early=2)
    text = words(page(grower))
    assert "Early counts" in text and "66 of 72" in text
    assert "36 of 72 seen" in text
    assert "60 of these counted when they left, on day 12" in text
    assert "68 of 70" in text


def test_filters_by_season_and_crop(grower, pairing):
    season = make_season()
    pepper = make_pairing(make_cultivar("Night Plum", make_crop("Pepper")), pairing.rootstock)
    make_count(make_run(places=[], pairing=pairing), alive=70, season=season)
    make_count(make_run(places=[], pairing=pepper), alive=61)
    assert "61 of 72" in page(grower)
    of_season = page(grower, season=str(season.key))
    assert "70 of 72" in of_season and "61 of 72" not in of_season
    of_crop = page(grower, crop=str(pepper.scion.crop.key))
    assert "61 of 72" in of_crop and "70 of 72" not in of_crop


@pytest.mark.parametrize("by", ["pairing", "grafter"])
def test_reads_neither_marks_nor_cells_and_costs_no_more_for_200_rows(
    grower, by, pairing, django_assert_num_queries
):
    def fill(rows):
        for _ in range(rows):
            fresh = make_pairing(make_cultivar(crop=pairing.scion.crop), pairing.rootstock)
            make_count(make_run(places=[], pairing=fresh, worker=make_worker()), alive=60)

    fill(2)
    page(grower, by=by)
    with CaptureQueriesContext(connection) as few:
        page(grower, by=by)
    fill(198)
    with django_assert_num_queries(len(few)):
        assert page(grower, by=by).count('class="range-dot"') == 200
    sql = " ".join(query["sql"] for query in few.captured_queries)
    assert "nursery_mark" not in sql and "nursery_cell" not in sql


def test_crowders_plates_come_out_as_published(grower):
    """Counts: Crowder (1978), table 3. Dispersion and ranges: crowder_expected.json."""
    import_tallies(crowder.tallies_csv(), TallyOptions(today=TODAY))
    html = page(grower, season=str(Season.objects.get().key))
    assert '<data value="1.861832">1.86</data> times as much as chance' in html
    assert "(17 degrees of freedom)" in html
    rows = {
        re.search(r'take-name">([^<]*)', row)[1]: row for row in html.split("</tr>") if "take-name" in row
    }
    for name, group in crowder.EXPECTED["groups"].items():
        row = rows[crowder.row_name(name)]
        assert f"{group['r']} of {group['n']}" in row
        assert f"{group['plates']} flats" in row
        share, low, high = (float(value) for value in re.findall(r'<data value="([0-9.]+)"', row))
        assert share == pytest.approx(group["p"], abs=1e-6)
        expected = crowder.EXPECTED["recommended_method"]["wilson_neff_t"][name]
        assert [low, high] == pytest.approx(expected, abs=6e-6)
        assert f"{round(low * 100)} and {round(high * 100)} %" in words(row)


def test_how_it_is_computed_works_the_published_example(crew):
    html = crew.get(reverse("takes-how")).content.decode().replace("\xa0", " ")
    assert '<data value="1.861832">1.86</data>' in html
    assert "Crowder (1978)" in html and "Wilson (1927)" in html
    for low, high in crowder.EXPECTED["recommended_method"]["wilson_neff_t"].values():
        shown = re.findall(r'<data value="([0-9.]+)"', html)
        assert any(abs(float(value) - low) < 6e-6 for value in shown)
        assert any(abs(float(value) - high) < 6e-6 for value in shown)


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.0, "0 %"), (0.001, "0.1 %"), (0.0001, "0.1 %"), (0.956, "96 %"), (0.997, "99.7 %"), (1.0, "100 %")],
)
def test_all_and_none_are_said_only_where_they_are(share, said):
    assert percent(share) == said
