"""The merge of marks against the reference fold: whatever happened, in whatever order it came."""

from datetime import date, time, timedelta
from itertools import permutations

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from nursery.actions.batch import Batch, Sender
from nursery.actions.closed_looks import Told, looked_at, looks_of
from nursery.actions.counting import flat_day_counts
from nursery.actions.ledger import CellFact, CheckFact, FlatFacts, RunFact
from nursery.actions.marks import receive_batch
from nursery.actions.recount import differences
from nursery.actions.states import flat_states
from nursery.calc.fold import MarkFact, fold_cell
from nursery.models import Cell, DayCount, Run, Season
from tests import oracle
from tests.courier import NOW, ZONE, Courier
from tests.factories import make_flat, make_pairing, make_run
from tests.stories import (
    RUNS,
    SEASONS,
    STATES,
    arrived,
    crews,
    deliveries,
    histories,
    histories_with_leavings,
    parts_of,
    rare_history,
    uuid_of,
)

COLUMNS = [
    "grafted", "seen", "alive", "wilting", "dead", "gone", "gone_early", "source", "has_disagreement",
    "is_closed", "is_record",
]  # fmt: skip


def examples(few, *, many, whole):
    """A small sample, the same every time; the whole, and other examples each time, with --slow.

    Only the whole looks for the smallest failing example: through a database that takes minutes.
    """
    return settings(
        max_examples=many if whole else few,
        derandomize=not whole,
        phases=list(Phase) if whole else [Phase.explicit, Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )


# --- without a database -------------------------------------------------------------------------------


@st.composite
def marks_of_one_cell(draw):
    count = draw(st.integers(0, 8))
    names = st.integers(0, count).map(lambda number: uuid_of("mark", number))
    return {
        uuid_of("mark", number): {
            "state": draw(st.sampled_from(STATES)),
            "replaces": draw(st.lists(names, max_size=3)),
        }
        for number in range(count)
    }


def test_fold_of_one_cell_is_the_references(whole):
    @examples(300, many=20_000, whole=whole)
    @given(marks=marks_of_one_cell(), shuffled=st.randoms(use_true_random=False))
    def agrees(marks, shuffled):
        facts = [
            MarkFact(uuid, "seen", mark["state"], tuple(mark["replaces"]), date(2026, 3, 16))
            for uuid, mark in marks.items()
        ]
        facts += facts[: shuffled.randint(0, len(facts))]
        shuffled.shuffle(facts)
        fold = fold_cell(facts)
        assert (fold.state, fold.disagreement, {m.uuid for m in fold.open}) == oracle.fold(marks)

    agrees()


def facts_of(history):
    """The same history as the ledger tells it: runs and checks by key, no void checks."""
    standing = {uuid: check for uuid, check in history["checks"].items() if not check["void"]}
    ids = {uuid: number for number, uuid in enumerate(standing, 1)}
    facts = FlatFacts(1, "", "marks")
    for number, run in history["runs"].items():
        for cell in run["cells"]:
            place, graft = oracle.place_of(cell), oracle.graft_of(cell)
            facts.cells.append(CellFact(cell, number, place, graft, is_present=True, is_graft=True))
    for uuid, check in standing.items():
        is_closed, places = oracle.is_closed(history, uuid), frozenset(check["places"])
        facts.checks[ids[uuid]] = CheckFact(
            ids[uuid], check["day"], check["kind"], places, is_closed, "", check.get("is_leaving", False)
        )
    for uuid, mark in history["marks"].items():
        if mark["check"] in standing:
            day, replaces = standing[mark["check"]]["day"], tuple(mark["replaces"])
            facts.marks[mark["cell"]].append(
                MarkFact(uuid, mark["kind"], mark["state"], replaces, day, ids[mark["check"]])
            )
    for (check, run), counts in history["numbers"].items():
        if check in standing:
            facts.numbers.append((ids[check], run, counts["dead"], counts["wilting"]))
    facts.left = [(leaving["run"], leaving["day"], leaving["plants"]) for leaving in history.get("left", [])]
    told = {ids[check]: told for check in standing if (told := told_by(history, check))}
    facts.looks = looks_of(facts, looked_at(facts, RUN_FACTS), told)
    return facts


def told_by(history, check):
    """What the closings of a check tell together, None if none tells."""
    closings = oracle.standing_closings(history, check)
    known = [closing["known"] for closing in closings.values() if closing.get("known") is not None]
    return Told(frozenset(closings), frozenset().union(*known)) if known else None


RUN_FACTS = {
    number: RunFact(number, 1, number, number, None, run["grafted_on"], run["record_on"])
    for number, run in RUNS.items()
}


@pytest.mark.parametrize(
    "told", [histories(max_marks=20), histories_with_leavings(), crews()], ids=["looks", "leavings", "crews"]
)
def test_counts_of_a_flat_are_the_references(whole, told):
    @examples(250, many=20_000, whole=whole)
    @given(history=told)
    def agrees(history):
        rows = {(row.run_id, row.day): row for row in flat_day_counts(facts_of(history), RUN_FACTS)}
        counted = {key: {column: getattr(row, column) for column in COLUMNS} for key, row in rows.items()}
        wanted = oracle.day_counts(history)
        assert counted == {key: {column: row[column] for column in COLUMNS} for key, row in wanted.items()}

    agrees()


# --- through the database -----------------------------------------------------------------------------


@pytest.fixture
def flat(farm):
    """The flat of the stories: run 1 in places 1 to 3, run 2 grafted again in 2 and 3."""
    type(farm).objects.update(time_zone=ZONE)
    for name, (starts_on, ends_on) in SEASONS.items():
        Season.objects.create(name=name, starts_on=starts_on, ends_on=ends_on)
    flat = make_flat(1, 3)
    for number, run in RUNS.items():
        record_days = (run["record_on"] - run["grafted_on"]).days
        make_run(
            flat,
            places=[oracle.place_of(cell) for cell in run["cells"]],
            grafted_on=run["grafted_on"],
            pairing=make_pairing(record_days=record_days),
            is_regraft=number > 1,
        )
    return flat


def stored_counts(flat):
    """DayCount as the reference tells it: {(run, day): counts and flags}."""
    pairings = dict(zip(Run.objects.filter(flat=flat).order_by("number").values_list("pairing", flat=True),
                        [run["pairing"] for run in RUNS.values()], strict=True))  # fmt: skip
    rows = DayCount.objects.filter(flat=flat).select_related("run", "season")
    return {
        (row.run.number, row.day): {column: getattr(row, column) for column in COLUMNS}
        | {"pairing": pairings[row.pairing_id], "season": row.season and row.season.name}
        for row in rows
    }


def assert_as_the_reference(flat, history):
    assert stored_counts(flat) == oracle.day_counts(history)
    day = date(2026, 3, 16)
    told = {
        cell.public_id: (cell.state, cell.disagreement, set(cell.open_uuids), cell.before)
        for cell in flat_states(flat, day=day).values()
    }
    before = oracle.cell_states(history, day - timedelta(days=1))
    now = oracle.cell_states(history)
    assert told == {cell: (*now[cell], before[cell][0]) for cell in now}


def for_each_delivery(check_delivery, *, sample, told):
    """Run ``check_delivery(history, chunks)`` for many, each in a transaction that is rolled back."""

    @sample
    @given(data=st.data())
    def run(data):
        history = data.draw(told)
        chunks = data.draw(deliveries(history))
        with transaction.atomic():
            check_delivery(history, chunks)
            transaction.set_rollback(True)

    run()


@pytest.mark.django_db
@pytest.mark.parametrize("told", [histories(), crews()], ids=["anything", "crews"])
def test_any_marks_in_any_order_give_the_references_states_and_counts(flat, whole, told):
    def check_delivery(history, chunks):
        courier, so_far = Courier(flat, history), []
        for chunk in chunks:
            courier.bring(chunk)
            so_far += chunk
            assert_as_the_reference(flat, arrived(history, so_far))
        assert list(differences()) == []
        said = {result["status"] for receipt in courier.receipts for result in receipt.results.values()}
        assert said <= {"stored", "known"}

    for_each_delivery(check_delivery, sample=examples(40, many=2000, whole=whole), told=told)


def far_bay():
    """A death marked without network, two closings, one of which knew of it, and who settles and reopens."""
    told = {"seasons": SEASONS, "runs": RUNS, "numbers": {}}
    ana, ben, eve, wren = (uuid_of("far bay", number) for number in range(4))
    dead, alive = uuid_of("far bay", 4), uuid_of("far bay", 5)
    shut, knew, again = (uuid_of("far bay", number) for number in range(6, 9))
    fields = {"kind": "whole", "places": [], "void": False, "time": time(12, 0)}
    days = {ana: 9, ben: 9, eve: 10, wren: 16}
    told["checks"] = {
        check: {**fields, "day": date(2026, 3, day), "device": number}
        for number, (check, day) in enumerate(days.items())
    }
    told["marks"] = {
        dead: {"check": ana, "cell": "1", "kind": "seen", "state": "dead", "replaces": []},
        alive: {"check": wren, "cell": "1", "kind": "seen", "state": "firm", "replaces": [dead, shut]},
    }
    told["closings"] = {
        shut: {"check": ben, "kind": "close", "replaces": [], "known": []},
        knew: {"check": eve, "kind": "close", "replaces": [], "known": [dead]},
        again: {"check": ben, "kind": "reopen", "replaces": [shut], "known": None},
    }
    return told


@pytest.mark.parametrize("is_leaving", [False, True])
def test_a_leaving_says_of_no_plant_that_it_lives(is_leaving):
    history = far_bay()
    del history["marks"][uuid_of("far bay", 5)], history["closings"][uuid_of("far bay", 8)]
    seen = history["checks"][uuid_of("far bay", 1)]
    seen |= {"kind": "part", "places": [1], "is_leaving": is_leaving}
    rows = {(row.run_id, row.day): row for row in flat_day_counts(facts_of(history), RUN_FACTS)}
    flags = {key: row.has_disagreement for key, row in rows.items()}
    assert flags == {key: row["has_disagreement"] for key, row in oracle.day_counts(history).items()}
    assert any(flags.values()) != is_leaving


@pytest.mark.django_db
def test_a_closing_against_a_death_is_the_references_in_every_interleaving(flat, whole):
    history = far_bay()
    parts = [("mark", uuid) for uuid in history["marks"]] + [
        ("closing", uuid) for uuid in history["closings"]
    ]
    flags = set()
    for order in permutations(parts if whole else parts[:-1]):
        with transaction.atomic():
            courier = Courier(flat, history)
            for number, part in enumerate(order, 1):
                courier.bring([part, order[0]])
                told = arrived(history, order[:number])
                assert_as_the_reference(flat, told)
                flags.add(DayCount.objects.filter(has_disagreement=True).exists())
            assert list(differences()) == []
            transaction.set_rollback(True)
    assert flags == {True, False}


@pytest.mark.django_db
@pytest.mark.parametrize("step", [1, -1])
@pytest.mark.parametrize("size", [1, 100])
def test_rare_things_give_the_references_states_and_counts(flat, step, size):
    history = rare_history()
    courier, parts = Courier(flat, history), parts_of(history)[::step]
    for start in range(0, len(parts), size):
        courier.bring(parts[start : start + size])
    assert_as_the_reference(flat, history)
    assert list(differences()) == []


@pytest.mark.django_db
def test_sending_all_of_it_again_or_with_other_content_changes_nothing(flat, whole):
    def check_delivery(history, chunks):
        courier = Courier(flat, history)
        for chunk in chunks:
            courier.bring(chunk)
        before = list(DayCount.objects.order_by("pk").values())
        for chunk in reversed(chunks):
            courier.bring(chunk)
        others = [
            courier.mark_in(uuid, state=STATES[STATES.index(mark["state"]) - 1])
            for uuid, mark in history["marks"].items()
        ]
        receipt = receive_batch(Batch(NOW, None, [], others), Sender(None, None, NOW))
        assert all(result["status"] == "refused" for result in receipt.results.values())
        assert list(DayCount.objects.order_by("pk").values()) == before
        assert_as_the_reference(flat, history)

    for_each_delivery(check_delivery, sample=examples(20, many=500, whole=whole), told=histories())


@pytest.mark.django_db
def test_stories_stand_on_the_cells_they_name(flat):
    cells = Cell.objects.filter(flat=flat).order_by("run__number", "place_no")
    named = [str(c.place_no) if c.graft_no == 1 else f"{c.place_no}.{c.graft_no}" for c in cells]
    assert named == [cell for run in RUNS.values() for cell in run["cells"]]
