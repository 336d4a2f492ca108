"""The pages of the bench: sessions, putting on, blades."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest

from nursery.actions.bench import Tray, put_on
from nursery.actions.sessions import end_session
from nursery.actions.stamp import Stamp
from nursery.actions.work import Work
from nursery.calc.codes import spoken
from nursery.models import BladeEvent, Flat, Pairing, Pause, PrintedCode, Run, Session
from tests.factories import (
    make_flat,
    make_format,
    make_layout,
    make_lot,
    make_pairing,
    make_place,
    make_session,
    make_sowing,
    make_worker,
)

NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes=0):
    return Stamp.of(NINE + timedelta(minutes=minutes))


def begin(session, **fields):
    work = Work(**{"pairing": make_pairing(), "method": "splice", **fields})
    tray = Tray(tray_format=make_format(), layout=make_layout())
    return put_on(session, tray=tray, work=work, stamp=at())


@pytest.fixture
def session(farm):
    return make_session()


def form_of(**fields):
    data = {
        "pairing": Pairing.objects.get().key,
        "tray_format": make_format().key,
        "layout": make_layout().key,
        "cut": "above",
        "roots": "own",
        "key": uuid.uuid4(),
    }
    return {**data, **fields}


def test_starting_a_session_leads_to_the_first_flat(crew, bob):
    bench = make_place("Bench 1")
    answer = crew.post("/bench/start", {"place": bench.code, "key": uuid.uuid4()})
    session = Session.objects.get()
    assert (session.place, session.opened_by) == (bench, bob)
    assert answer.url == f"/bench/{session.key}/put-on"


def test_a_second_session_at_a_bench_is_refused_at_its_field(crew):
    bench = make_place("Bench 1")
    make_session(place=bench)
    answer = crew.post("/bench/start", {"place": bench.code, "key": uuid.uuid4()})
    assert answer.status_code == 422
    assert "open at Bench 1 already" in answer.content.decode()
    assert Session.objects.count() == 1


def test_the_caution_stands_where_the_work_starts(crew, session):
    for address in ("/bench", f"/bench/{session.key}", f"/bench/{session.key}/put-on"):
        if address.endswith(str(session.key)):
            begin(session)
        page = crew.get(address).content.decode()
        assert ("sharps container" in page) and ("Never mix bleach" in page), address


def test_a_flat_left_over_is_shown_on_the_bench(crew, session):
    run = begin(session)
    end_session(session, stamp=at(60), leave_unfinished=True)
    assert spoken(run.flat.code) in crew.get("/bench").content.decode()


def test_the_form_offers_only_sowings_of_the_pairing_newest_first(crew, session):
    pairing = make_pairing()
    old = make_sowing(make_lot(pairing.scion), sown_on="2026-01-05")
    new = make_sowing(make_lot(pairing.scion), sown_on="2026-02-05")
    stray = make_sowing()
    page = crew.get(f"/bench/{session.key}/put-on", {"pairing": pairing.key}).content.decode()
    assert page.index(spoken(new.code)) < page.index(spoken(old.code))
    assert spoken(stray.code) not in page


def test_choosing_a_pairing_swaps_the_sowings_alone(crew, session):
    pairing = make_pairing()
    make_sowing(make_lot(pairing.scion))
    address = f"/bench/{session.key}/put-on"
    part = crew.get(address, {"pairing": pairing.key}, headers={"HX-Request": "true"})
    assert part.content.decode().strip().startswith('<div id="bench-sowings">')
    assert "<html" not in part.content.decode()
    whole = crew.get(address, {"pairing": "no key"})
    assert whole.status_code == 200


def test_who_is_working_stands_in_the_form_already(crew, bob, session):
    form = crew.get(f"/bench/{session.key}/put-on").context["form"]
    assert form["worker"].value() == bob.worker.key


def test_the_form_is_filled_in_from_the_workers_last_flat_here(crew, bob, session):
    begin(session, worker=make_worker("Wren"), cut="below")
    last = begin(session, worker=bob.worker, cut="above", clip="2 mm")
    begin(session, worker=make_worker("Ada"))
    form = crew.get(f"/bench/{session.key}/put-on").context["form"]
    assert form["pairing"].value() == last.pairing.key
    assert [form[name].value() for name in ("cut", "clip")] == ["above", "2 mm"]


def test_puts_a_new_flat_on(crew, session, bob):
    pairing = make_pairing(method="cleft")
    sowing = make_sowing(make_lot(pairing.scion))
    data = form_of(worker=bob.worker.key, scion_sowings=[sowing.code], rested_hours="12")
    answer = crew.post(f"/bench/{session.key}/put-on", data)
    assert answer.url == f"/bench/{session.key}"
    run = Run.objects.get()
    assert (run.worker, run.method, run.cut, run.roots) == (bob.worker, "cleft", "above", "own")
    assert run.rested_hours == 12
    assert [row.sowing for row in run.run_sowings.all()] == [sowing]


def test_puts_a_sown_flat_on_by_its_code(crew, session):
    pairing = make_pairing()
    flat = make_flat(5, 10, sowing=make_sowing(make_lot(pairing.rootstock)))
    crew.post(f"/bench/{session.key}/put-on", form_of(code=spoken(flat.code).lower()))
    assert Run.objects.get().flat == flat
    assert Flat.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"pairing": ""}, "This field is required"),
        ({"code": "F3K"}, "7 characters"),
        ({"rested_hours": "-1"}, "greater than or equal to 0"),
        ({"second_worker": "self"}, "two different people"),
        ({"scion_sowings": "stray"}, "of another cultivar"),
    ],
)
def test_says_what_is_wrong_and_puts_nothing_on(crew, bob, session, wrong, said):
    make_pairing()
    replaced = {"self": bob.worker.key, "stray": make_sowing(make_lot(make_pairing().scion)).code}
    Pairing.objects.exclude(pk=Pairing.objects.order_by("pk").first().pk).delete()
    wrong = {name: replaced.get(value, value) for name, value in wrong.items()}
    answer = crew.post(f"/bench/{session.key}/put-on", form_of(worker=bob.worker.key) | wrong)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Run.objects.exists()


def test_next_flat_is_one_post(crew, bob, session):
    begin(session, worker=bob.worker)
    answer = crew.post(f"/bench/{session.key}/next", {"worker": bob.worker.key, "key": uuid.uuid4()})
    assert answer.url == f"/bench/{session.key}"
    assert list(Run.objects.values_list("worker__name", flat=True)) == ["Bob", "Bob"]


def test_a_code_that_is_none_stays_in_its_field(crew, bob, session):
    begin(session, worker=bob.worker)
    begin(session, worker=make_worker("Ada"))
    Run.objects.update(finished_at=NINE)
    data = {"worker": bob.worker.key, "key": uuid.uuid4(), "code": "<F00"}
    page = crew.post(f"/bench/{session.key}/next", data).content.decode()
    assert page.count('value="&lt;F00"') == 1
    assert page.count('<details class="grow" open><summary>It has a code already') == 1


def test_next_flat_of_an_ended_session_says_so(crew, session):
    begin(session)
    Session.objects.update(ended_at=NINE)
    answer = crew.post(f"/bench/{session.key}/next", {"worker": "", "key": uuid.uuid4()})
    assert answer.status_code == 422
    assert "This session has ended" in answer.content.decode()
    assert Run.objects.count() == 1


def test_pause_go_on_end_and_take_up_again(crew, session):
    crew.post(f"/bench/{session.key}/pause")
    assert "Paused since" in crew.get(f"/bench/{session.key}").content.decode()
    crew.post(f"/bench/{session.key}/resume")
    assert Pause.objects.get().ended_at
    crew.post(f"/bench/{session.key}/end")
    session.refresh_from_db()
    assert session.ended_at
    crew.post(f"/bench/{session.key}/reopen")
    session.refresh_from_db()
    assert session.ended_at is None


def test_time_at_work_leaves_the_pauses_out(crew):
    ended = make_session(ended_at=NINE + timedelta(hours=4))
    Pause.objects.create(
        session=ended, started_at=NINE + timedelta(hours=1), ended_at=NINE + timedelta(minutes=90)
    )
    page = crew.get(f"/bench/{ended.key}").content.decode()
    assert "<b>3 h 30 min</b>" in page
    assert "30 min paused" in page


def test_ending_names_who_has_what_in_hand(crew, session):
    run = begin(session, worker=make_worker("Wren"))
    answer = crew.post(f"/bench/{session.key}/end")
    assert answer.status_code == 422
    assert spoken(run.flat.code) in " ".join(answer.context["refused"])
    crew.post(f"/bench/{session.key}/end", {"leave": "1"})
    session.refresh_from_db()
    assert session.ended_at


def test_a_blade_is_noted_for_the_lane_it_was_tapped_in(crew, session):
    wren = make_worker("Wren")
    begin(session, worker=wren)
    data = {"worker": wren.key, "kind": "disinfected", "product": "Alcohol 70 %", "uuid": uuid.uuid4()}
    crew.post(f"/bench/{session.key}/blade", data)
    crew.post(f"/bench/{session.key}/blade", data)
    assert BladeEvent.objects.get().by_worker == wren
    assert "Alcohol 70 %" in crew.get(f"/bench/{session.key}").content.decode()
    crew.post(f"/bench/{session.key}/blade/{data['uuid']}/undo")
    assert not BladeEvent.objects.standing().exists()


def test_a_disinfection_with_nothing_is_refused(crew, session):
    data = {"worker": "", "kind": "disinfected", "product": "", "uuid": uuid.uuid4()}
    assert crew.post(f"/bench/{session.key}/blade", data).status_code == 422
    assert not BladeEvent.objects.exists()


def test_the_farms_rule_replaces_the_buttons(crew, session, farm):
    begin(session)
    address = f"/bench/{session.key}"
    assert "Blade changed" in crew.get(address).content.decode()
    farm.blade_rule = "fresh"
    farm.save()
    page = crew.get(address).content.decode()
    assert "a fresh one for every flat" in page
    assert "Blade changed" not in page


def test_lanes_are_one_for_each_grafter_and_the_flat_is_in_the_right_one(crew, bob, session):
    wren = make_worker("Wren")
    mine, hers = begin(session, worker=bob.worker), begin(session, worker=wren)
    board = crew.get(f"/bench/{session.key}").context["board"]
    assert [(lane.worker, [line.flat for line in lane.in_hand]) for lane in board.lanes] == [
        (bob.worker, [mine.flat]),
        (wren, [hers.flat]),
    ]


@pytest.mark.parametrize("address", ["/bench", "session"])
def test_takes_the_same_number_of_queries_for_2_flats_and_20(
    crew, session, address, django_assert_max_num_queries
):
    address = f"/bench/{session.key}" if address == "session" else address
    for _flat in range(2):
        begin(session, worker=make_worker())
    with django_assert_max_num_queries(60) as few:
        crew.get(address)
    for _flat in range(18):
        begin(session, worker=make_worker())
        Session.objects.create(started_at=NINE, place=make_place())
    with django_assert_max_num_queries(60) as many:
        crew.get(address)
    assert len(few.captured_queries) == len(many.captured_queries)


@pytest.mark.parametrize("act", ["pause", "resume", "end", "reopen", "next", "blade"])
def test_acts_are_posts_and_of_a_session_that_exists(crew, session, act):
    assert crew.get(f"/bench/{session.key}/{act}").status_code == 405
    assert crew.post(f"/bench/{uuid.uuid4()}/{act}").status_code == 404


@pytest.mark.parametrize("who", ["grower", "crew", "stranger"])
@pytest.mark.parametrize("act", ["pause", "end", "reopen"])
def test_grower_and_crew_may_and_nobody_is_sent_to_the_login(request, who, act):
    client = request.getfixturevalue(who)
    session = make_session(ended_at=NINE if act == "reopen" else None)
    answer = client.post(f"/bench/{session.key}/{act}")
    assert answer.status_code == 302
    assert answer.url.startswith("/login") == (who == "stranger")
    if who == "stranger":
        session.refresh_from_db()
        assert (session.ended_at is None) == (act != "reopen")
        assert not session.pauses.exists()


def test_a_printed_label_leads_to_putting_it_on(crew, session):
    begin(session)
    code = make_flat().code
    Flat.objects.filter(code=code).delete()
    PrintedCode.objects.create(code=code, printed_at=NINE)
    page = crew.get(f"/{code}/bench").content.decode()
    assert "printed ahead" in page
    crew.post(f"/bench/{session.key}/next", {"worker": "", "key": uuid.uuid4(), "code": code})
    assert Run.objects.filter(flat__code=code).exists()


def test_sessions_before_stand_latest_first(crew):
    for day in (3, 5, 4):
        began = NINE.replace(day=day)
        make_session(started_at=began, ended_at=began)
    page = crew.get("/bench").content.decode()
    assert page.index("5 Mar 2026") < page.index("4 Mar 2026") < page.index("3 Mar 2026")
