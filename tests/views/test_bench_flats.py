"""One flat at the bench: the drawing, hand-overs, blanks, finishing; and the offer of a sowing."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest

from nursery.actions.bench import Tray, put_on
from nursery.actions.finishing import finish_flat, set_blanks
from nursery.actions.sessions import end_session
from nursery.actions.stamp import Stamp
from nursery.actions.work import Work
from nursery.models import Cell, Change, Flat, Run
from nursery.views.bench.offer import offers_of
from tests.factories import (
    make_flat,
    make_format,
    make_layout,
    make_lot,
    make_pairing,
    make_session,
    make_sowing,
    make_worker,
)

NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes=0):
    return Stamp.of(NINE + timedelta(minutes=minutes))


@pytest.fixture
def run(farm):
    work = Work(pairing=make_pairing(), method="splice", worker=make_worker("Wren"))
    tray = Tray(tray_format=make_format(), layout=make_layout())
    return put_on(make_session(), tray=tray, work=work, stamp=at())


@pytest.fixture
def code(run):
    return run.flat.code


@pytest.fixture
def ada(db):
    return make_worker("Ada")


def text(answer):
    return answer.content.decode()


def test_draws_the_flat_with_the_letters_of_its_runs(crew, code, ada):
    page = text(crew.get(f"/{code}/bench"))
    assert page.count('data-run="1"') == 73  # 72 cells and the legend
    crew.post(f"/{code}/bench/hand-over", {"first_place": 37, "worker": ada.key})
    page = text(crew.get(f"/{code}/bench"))
    assert page.count('data-run="2"') == 37
    assert 'data-in-hand="2"' in page


def test_hands_over_at_a_tapped_cell(crew, code, ada):
    answer = crew.post(f"/{code}/bench/hand-over", {"first_place": 37, "worker": ada.key})
    assert answer.url == f"/{code}/bench"
    assert list(Run.objects.values_list("worker__name", "first_place")) == [("Wren", 1), ("Ada", 37)]


def test_hands_over_after_a_count(crew, code, ada):
    crew.post(f"/{code}/bench/hand-over", {"done_count": 30, "worker": ada.key, "first_place": ""})
    assert Run.objects.get(number=2).first_place == 31


@pytest.mark.parametrize("name", ["pairing", "other_pairing"])
def test_another_scion_begins_a_run_of_the_same_worker(crew, code, run, name):
    other = make_pairing(rootstock=run.pairing.rootstock)
    crew.post(f"/{code}/bench/hand-over", {"first_place": 25, name: other.key})
    new = Run.objects.get(number=2)
    assert (new.pairing, new.worker) == (other, run.worker)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "Tap the first cell"),
        ({"first_place": 37}, "Tap who goes on"),
        ({"first_place": 1, "worker": "ada"}, "begins at A1"),
        ({"first_place": 99, "worker": "ada"}, "No graft stands there"),
        ({"done_count": 72, "worker": "ada"}, "All 72 are done"),
        ({"done_count": 80, "worker": "ada"}, "72 places"),
    ],
)
def test_says_why_a_hand_over_is_refused(crew, code, ada, sent, said):
    sent = {name: ada.key if value == "ada" else value for name, value in sent.items()}
    answer = crew.post(f"/{code}/bench/hand-over", sent)
    assert answer.status_code == 422
    assert said in " ".join(answer.context["refused"])
    assert (Run.objects.count(), Run.objects.get().finished_at) == (1, None)
    if "done_count" in sent:
        assert f'name="done_count" value="{sent["done_count"]}"' in answer.content.decode()


def test_the_last_hand_over_is_taken_back(crew, code, ada):
    assert "Undo" not in text(crew.get(f"/{code}/bench"))
    crew.post(f"/{code}/bench/hand-over", {"first_place": 37, "worker": ada.key})
    assert "Undo" in text(crew.get(f"/{code}/bench"))
    crew.post(f"/{code}/bench/hand-over/undo")
    assert Run.objects.get().finished_at is None


def test_finishing_all_filled_leads_back_to_the_session(crew, code, run):
    answer = crew.post(f"/{code}/bench/finish", {"filled": "all", "known": ""})
    assert answer.url == f"/bench/{run.session.key}"
    assert Cell.objects.count() == 72


@pytest.mark.parametrize(("blanks", "count"), [("A3 F11", 70), ("5", 67)])
def test_finishing_with_blanks(crew, code, blanks, count):
    crew.post(f"/{code}/bench/finish", {"filled": "some", "blanks": blanks})
    assert Cell.objects.count() == count


@pytest.mark.parametrize(
    ("blanks", "said"),
    [
        ("", "Tap or type the empty places"),
        ("G1", "no place G1"),
        ("A3 B", "B is no place"),
        ("73", "more than the 72"),
        ("72", "Every place would be empty"),
    ],
)
def test_says_why_blanks_are_refused_and_keeps_what_was_typed(crew, code, blanks, said):
    answer = crew.post(f"/{code}/bench/finish", {"filled": "some", "blanks": blanks})
    assert answer.status_code == 422
    assert said in " ".join(answer.context["refused"])
    assert f'name="blanks" value="{blanks}"' in text(answer)
    assert not Cell.objects.exists()


def test_what_the_layout_does_not_use_is_no_blank(crew, farm):
    tray = Tray(tray_format=make_format(), layout=make_layout("Every other", "other_cell"))
    work = Work(pairing=make_pairing(), method="splice")
    flat = put_on(make_session(), tray=tray, work=work, stamp=at()).flat
    answer = crew.post(f"/{flat.code}/bench/finish", {"filled": "some", "blanks": "A2"})
    assert "A2 is not used" in " ".join(answer.context["refused"])
    assert not Cell.objects.exists()


def test_the_second_to_finish_is_told(crew, code, run):
    finish_flat(run.flat, blanks=[], stamp=at(20))
    answer = crew.post(f"/{code}/bench/finish", {"filled": "some", "blanks": "A1"})
    assert answer.status_code == 422
    assert Cell.objects.count() == 72


def test_a_page_that_missed_new_blanks_does_not_finish(crew, code, run):
    set_blanks(run.flat, blanks=[3], stamp=at(5))
    answer = crew.post(f"/{code}/bench/finish", {"filled": "all", "known": ""})
    assert answer.status_code == 422
    assert "meanwhile" in " ".join(answer.context["refused"])
    assert not Cell.objects.exists()


def test_blanks_are_noted_while_grafting_goes_on(crew, code):
    answer = crew.post(f"/{code}/bench/blanks", {"blanks": "a3, f11"})
    assert answer.url == f"/{code}/bench"
    assert Flat.objects.get().blank_places == [3, 71]
    assert "Finish: 70 of 72 filled" in text(crew.get(answer.url))
    assert crew.post(f"/{code}/bench/blanks", {"blanks": "Z9"}).status_code == 422
    assert Flat.objects.get().blank_places == [3, 71]


def test_a_finish_is_taken_back(crew, code, run):
    finish_flat(run.flat, blanks=[], stamp=at(20))
    assert "Undo finish" in text(crew.get(f"/{code}/bench"))
    assert crew.post(f"/{code}/bench/finish/undo").url == f"/{code}/bench"
    assert not Cell.objects.exists()


def test_a_flat_put_on_by_mistake_is_taken_off(crew, code, run):
    answer = crew.post(f"/{code}/bench/take-off")
    assert answer.url == f"/bench/{run.session.key}"
    assert not Run.objects.exists()
    assert "Say who grafts what" in text(crew.get(f"/{code}/bench"))


def test_a_run_is_put_right(crew, code, run, ada):
    page = crew.get(f"/{code}/bench/run/1")
    assert page.context["form"]["worker"].value() == run.worker.key
    data = {"worker": ada.key, "pairing": run.pairing.key, "method": "cleft", "cut": "below", "roots": "own"}
    assert crew.post(f"/{code}/bench/run/1", data).url == f"/{code}/bench"
    run.refresh_from_db()
    assert (run.worker, run.method, run.cut, run.roots) == (ada, "cleft", "below", "own")
    assert Change.objects.count() == 4


def test_a_wrong_correction_leaves_the_run_alone(crew, code, run):
    answer = crew.post(f"/{code}/bench/run/1", {"pairing": "", "cut": "sideways"})
    assert answer.status_code == 422
    run.refresh_from_db()
    assert run.cut == "unknown"
    assert crew.get(f"/{code}/bench/run/2").status_code == 404


def test_a_correction_swaps_the_sowings_alone(crew, code, run):
    part = crew.get(f"/{code}/bench/run/1", {"pairing": make_pairing().key}, headers={"HX-Request": "true"})
    assert text(part).strip().startswith('<div id="bench-sowings">')


def test_a_flat_left_over_goes_on_in_the_open_session(crew, code, run):
    end_session(run.session, stamp=at(60), leave_unfinished=True)
    session = make_session()
    page = crew.get(f"/{code}/bench")
    assert run.worker in page.context["choices"]["workers"]
    crew.post(f"/{code}/bench/hand-over", {"first_place": 37, "worker": run.worker.key})
    assert Run.objects.get(number=2).session == session


def test_a_sowings_label_offers_it_for_the_flats_in_hand(crew, code, run):
    sowing = make_sowing(make_lot(run.pairing.scion))
    assert [offer["run"] for offer in offers_of(sowing)] == [run]
    assert offers_of(make_sowing()) == []
    answer = crew.post(f"/{sowing.code}/offer", {"run": run.key})
    assert answer.url == f"/{code}/bench"
    assert [(row.sowing, row.side) for row in run.run_sowings.all()] == [(sowing, "scion")]
    assert offers_of(sowing)[0]["is_there"]
    other = make_sowing(sowing.lot)
    crew.post(f"/{other.code}/offer", {"run": run.key, "beside": "1"})
    assert run.run_sowings.count() == 2


def test_the_offer_stands_on_the_sowings_page_while_a_flat_is_in_hand(crew, code, run):
    sowing = make_sowing(make_lot(run.pairing.rootstock))
    page = text(crew.get(f"/{sowing.code}"))
    assert f'action="/{sowing.code}/offer"' in page
    assert "Use as its rootstock" in page
    finish_flat(run.flat, blanks=[], stamp=at(20))
    assert "Use as its" not in text(crew.get(f"/{sowing.code}"))


def test_a_sowing_for_a_flat_that_was_finished_is_refused(crew, run):
    sowing = make_sowing(make_lot(run.pairing.scion))
    finish_flat(run.flat, blanks=[], stamp=at(20))
    assert crew.post(f"/{sowing.code}/offer", {"run": run.key}).status_code == 404
    assert crew.post(f"/{sowing.code}/offer", {"run": "none"}).url == f"/{sowing.code}"
    assert not run.run_sowings.exists()


ACTS = ["hand-over", "hand-over/undo", "blanks", "finish", "finish/undo", "take-off"]


@pytest.mark.parametrize("act", ACTS)
def test_acts_are_posts_and_of_a_flat_that_exists(crew, code, act):
    assert crew.get(f"/{code}/bench/{act}").status_code == 405
    missing = make_flat()
    Flat.objects.filter(pk=missing.pk).delete()
    assert crew.post(f"/{missing.code}/bench/{act}").status_code == 404


@pytest.mark.parametrize("act", [*ACTS, "run/1"])
def test_nobody_is_sent_to_the_login(stranger, code, act):
    answer = stranger.post(f"/{code}/bench/{act}", {"filled": "all"})
    assert answer.url.startswith("/login")
    assert (Run.objects.open().count(), Cell.objects.count()) == (1, 0)


@pytest.mark.parametrize("who", ["grower", "crew"])
def test_grower_and_crew_finish(request, who, code):
    client = request.getfixturevalue(who)
    assert client.post(f"/{code}/bench/finish", {"filled": "all"}).status_code == 302
    assert Cell.objects.count() == 72


def test_the_shared_tablet_acts_for_who_is_working(tablet, code, ada):
    session = tablet.session
    session["worker"] = str(ada.key)
    session.save()
    sowing_session = Run.objects.get().session
    form = tablet.get(f"/bench/{sowing_session.key}/put-on").context["form"]
    assert form["worker"].value() == ada.key
    data = {"worker": ada.key, "key": uuid.uuid4()}
    tablet.post(f"/bench/{sowing_session.key}/next", data)
    assert Run.objects.open().filter(worker=ada).count() == 1
