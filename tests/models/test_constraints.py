"""What must never be stored is refused by the database itself: each rule is tried past the model."""

from datetime import date, timedelta

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import CheckConstraint, F, UniqueConstraint

from nursery import models as m
from tests.models.rows import AT, DAY, ROWS

pytestmark = pytest.mark.django_db

MODELS = [model for model in apps.get_app_config("nursery").get_models() if model is not m.LabelPrint]
EARLIER = AT - timedelta(hours=1)

# The row that breaks each check: what it is built with, and what is then written past the model.
CHECKS = {
    "account_role_valid": [({}, {"role": "boss"})],
    "account_shared_is_crew": [({}, {"role": "grower", "is_shared": True})],
    "blade_event_kind_valid": [({}, {"kind": "lost"})],
    "cell_moved_by_an_act": [({}, {"came_by": m.Leaving}), ({}, {"moved_from": F("id")})],
    "cell_numbers_from_1": [({}, {"place_no": 0}), ({}, {"graft_no": 0}), ({}, {"order_in_run": 0})],
    "check_cause_valid": [({}, {"cause": "moon"})],
    "check_kind_valid": [({}, {"kind": "half"})],
    "closing_kind_valid": [({}, {"kind": "slam"})],
    "closing_seen_valid": [({}, {"seen": "half"})],
    "crop_method_valid": [({}, {"method": "glue"})],
    "cultivar_use_valid": [({}, {"use": "both"})],
    "day_count_early_lte_gone": [({}, {"gone_early": 3})],
    "day_count_record_is_complete": [
        ({}, {"is_record": True, "is_closed": False}),
        ({"seen": 9, "alive": 6}, {"is_record": True, "is_closed": True}),
    ],
    "day_count_seen_is_sum": [({}, {"alive": 6}), ({}, {"dead": 0}), ({}, {"gone": 1})],
    "day_count_seen_lte_grafted": [({}, {"grafted": 9})],
    "day_count_source_valid": [({}, {"source": "guess"})],
    "day_count_wilting_lte_alive": [({}, {"wilting": 8})],
    "farm_blade_rule_valid": [({}, {"blade_rule": "never"})],
    "farm_paper_valid": [({}, {"paper": "a5"})],
    "farm_tray_word_valid": [({}, {"tray_word": "plug"})],
    "farm_units_valid": [({}, {"units": "ells"})],
    "flat_of_one_origin": [
        ({}, {"layout": None}),
        ({}, {"tray_format": None}),
        ({}, {"origin": "tally"}),
    ],
    "flat_origin_valid": [({}, {"origin": "found"})],
    "grade_count_at_least_1": [({}, {"plants_count": 0})],
    "grade_count_grade_valid": [({}, {"grade": "third"})],
    "grade_count_heads_at_least_1": [({}, {"heads_per_plant": 0})],
    "harvest_not_negative": [({}, {"kilograms": -1})],
    "healing_plan_method_valid": [({}, {"method": "glue"})],
    "job_done_lte_total": [({"total_count": 5}, {"done_count": 6})],
    "job_state_valid": [({}, {"state": "asleep"})],
    "label_stock_has_labels": [({}, {"columns": 0}), ({}, {"rows": 0}), ({}, {"label_width_mm": 0})],
    "label_stock_soil_lt_height": [({}, {"soil_mm": -1}), ({}, {"soil_mm": 37})],
    "label_stock_paper_valid": [({}, {"paper": "A5"})],
    "layout_pattern_valid": [({}, {"pattern": "spiral"})],
    "leaving_count_at_least_1": [({}, {"plants_count": 0})],
    "leaving_reason_valid": [({}, {"reason": "stolen"})],
    "leaving_to_another_flat": [({"reason": "moved"}, {"to_flat": F("flat")})],
    "leaving_to_flat_is_moved": [({}, {"to_flat": m.Flat})],
    "mark_cause_valid": [({}, {"cause": "moon"})],
    "mark_kind_valid": [({}, {"kind": "guess"})],
    "mark_state_valid": [({}, {"state": "green"})],
    "pairing_method_valid": [({}, {"method": ""})],
    "pairing_record_days_1_to_90": [({}, {"record_days": 0}), ({}, {"record_days": 91})],
    "pause_ends_after_start": [({}, {"ended_at": EARLIER})],
    "place_kind_valid": [({}, {"kind": "shelf"})],
    "place_not_in_itself": [({}, {"stands_in": F("id")})],
    "place_move_not_into_itself": [({}, {"stands_in": F("place")})],
    "run_cut_valid": [({}, {"cut": "through"})],
    "run_finishes_after_start": [({"started_at": AT}, {"finished_at": EARLIER})],
    "run_method_valid": [({}, {"method": ""})],
    "run_pair_is_two_people": [({"worker": m.Worker}, {"second_worker": F("worker")})],
    "run_rested_not_negative": [({}, {"rested_hours": -1})],
    "run_roots_valid": [({}, {"roots": "none"})],
    "run_second_needs_first": [({"second_worker": m.Worker, "worker": m.Worker}, {"worker": None})],
    "run_sowing_side_valid": [({}, {"side": "left"})],
    "season_ends_after_start": [({}, {"ends_on": date(1999, 1, 1)})],
    "seed_lot_germination_is_share": [({}, {"germination_share": 1.5}), ({}, {"germination_share": -0.1})],
    "seed_lot_organic_valid": [({}, {"organic": "maybe"})],
    "seed_lot_price_not_negative": [({}, {"price": -1})],
    "session_ends_after_start": [({}, {"ended_at": EARLIER})],
    "sowing_seeds_at_least_1": [({}, {"seeds_count": 0})],
    "sowing_stand_lte_seeds": [({"seeds_count": 10}, {"stand_count": 11})],
    "sowing_usable_lte_stand": [
        ({"seeds_count": 10}, {"usable_count": 11}),
        ({"seeds_count": 10, "stand_count": 8}, {"usable_count": 9}),
    ],
    "stage_move_loss_is_discarded": [({}, {"is_loss": True})],
    "stage_move_stage_valid": [({}, {"stage": "moon"})],
    "step_done_outcome_valid": [({}, {"outcome": "forgot"})],
    "step_stage_valid": [({}, {"stage": "moon"})],
    "step_temp_band_in_order": [({"temp_high_c": 20}, {"temp_low_c": 21})],
    "step_vent_is_share": [({}, {"vent_share": 1.1}), ({}, {"vent_share": -0.1})],
    "tally_row_alive_lte_grafted": [({}, {"alive": 11})],
    "tally_row_grafted_at_least_1": [({"alive": 0, "wilting": 0}, {"grafted": 0})],
    "tally_row_wilting_lte_alive": [({}, {"wilting": 8})],
    "target_confidence_is_share": [({}, {"confidence_share": 1}), ({}, {"confidence_share": 0})],
    "target_plants_at_least_1": [({}, {"plants_wanted": 0})],
    "tray_format_26_by_40": [
        ({}, {"rows": 0}),
        ({}, {"rows": 27}),
        ({}, {"columns": 0}),
        ({}, {"columns": 41}),
    ],
}
TALLY = {"origin": "tally", "tray_format": None, "layout": None}
RECORD = {"is_record": True, "is_closed": True}
# Partial uniques: what both rows are built with to fall under the rule, the second row alone, and what
# takes the second row out of it.
PARTIAL = {
    "cell_one_present_per_place": ({}, {"graft_no": 2}, {"is_present": False}),
    "day_count_one_record_per_run": (RECORD, {"day": DAY + timedelta(days=1)}, {"is_record": False}),
    "grade_count_once_without_even": ({}, {}, {"is_even": True}),
    "flat_own_name_once_per_season": ({**TALLY, "season": m.Season}, {}, None),
    "pause_one_open_per_session": ({}, {}, {"ended_at": AT}),
    "tally_row_once_per_run_and_day": ({}, {}, {"replaced_at": AT}),
}
# A NULL is equal to nothing, not even to a NULL.
NOT_NULL = {"grade_count_once": {"is_even": True}}
# Whatever breaks the first breaks the second too, and a database names the one that it looks at first.
SHADOWED = {"flat_origin_valid": "flat_origin_valid|flat_of_one_origin"}
NEEDS_ROW = {
    (m.Cell, "moved_from"): m.Cell,
    (m.Worker, "account"): m.Account,
    (m.Leaving, "check_ref"): m.Check,
}
# What must stand beside it.
BESIDE = {(m.Cell, "moved_from"): {"came_by": m.Leaving}}


def constraints(kind):
    return {c.name: (model, c) for model in MODELS for c in model._meta.constraints if isinstance(c, kind)}


def unique_fields():
    return [(mo, f.name) for mo in MODELS for f in mo._meta.fields if f.unique and not f.primary_key]


def build(model, fields=None):
    """Build a row; a model among the values stands for a row of it."""
    given = {name: ROWS[v]() if isinstance(v, type) else v for name, v in (fields or {}).items()}
    return ROWS[model](**given)


def write(row, **values):
    """Write past the model, to the database alone."""
    with transaction.atomic():
        assert type(row)._base_manager.filter(pk=row.pk).update(**values) == 1


@pytest.mark.parametrize(
    ("name", "fields", "bad"), [(name, *case) for name, cases in CHECKS.items() for case in cases]
)
def test_check(name, fields, bad):
    model, _constraint = constraints(CheckConstraint)[name]
    row = build(model, fields)
    bad = {column: ROWS[v]() if isinstance(v, type) else v for column, v in bad.items()}
    with pytest.raises(IntegrityError, match=SHADOWED.get(name, name)):
        write(row, **bad)


def test_there_is_one_farm():
    with pytest.raises(IntegrityError, match="farm_is_one"), transaction.atomic():
        m.Farm.objects.bulk_create([m.Farm(pk=2, name="Second")])


@pytest.mark.parametrize("name", constraints(UniqueConstraint))
def test_unique(name):
    model, constraint = constraints(UniqueConstraint)[name]
    both, second_alone, _out = PARTIAL.get(name, (NOT_NULL.get(name, {}), {}, None))
    first, second = build(model, both), build(model, {**both, **second_alone})
    with pytest.raises(IntegrityError, match=r"(?i)unique"):
        write(second, **{field: getattr(first, field) for field in constraint.fields})


@pytest.mark.parametrize("name", [name for name, (_both, _second, out) in PARTIAL.items() if out])
def test_a_partial_unique_leaves_other_rows_alone(name):
    model, constraint = constraints(UniqueConstraint)[name]
    both, second_alone, out = PARTIAL[name]
    first, second = build(model, both), build(model, {**both, **second_alone})
    write(second, **out, **{field: getattr(first, field) for field in constraint.fields})


def test_own_names_of_flats_kept_here_may_repeat():
    first, second = build(m.Flat, {"own_name": "7"}), build(m.Flat)
    write(second, own_name=first.own_name)


@pytest.mark.parametrize(("model", "field"), unique_fields())
def test_unique_column(model, field):
    given = {field: NEEDS_ROW[model, field]} if (model, field) in NEEDS_ROW else {}
    given |= BESIDE.get((model, field), {})
    first, second = build(model, given), build(model, given)
    with pytest.raises(IntegrityError, match=r"(?i)unique"):
        write(second, **{field: getattr(first, field)})


SPRING = {"starts_on": date(2026, 1, 1), "ends_on": date(2026, 6, 30)}
OVERLAPS = [
    (date(2025, 12, 1), date(2026, 1, 1)),
    (date(2026, 6, 30), date(2026, 9, 1)),
    (date(2026, 3, 1), date(2026, 3, 1)),
    (date(2025, 1, 1), date(2027, 1, 1)),
]


@pytest.mark.parametrize(("starts_on", "ends_on"), OVERLAPS)
def test_seasons_never_overlap(starts_on, ends_on):
    build(m.Season, SPRING)
    with pytest.raises(IntegrityError, match="season_no_overlap"), transaction.atomic():
        m.Season.objects.bulk_create([m.Season(name="Other", starts_on=starts_on, ends_on=ends_on)])
    other = build(m.Season, {"starts_on": date(2030, 1, 1), "ends_on": date(2030, 1, 2)})
    with pytest.raises(IntegrityError, match="season_no_overlap"):
        write(other, starts_on=starts_on, ends_on=ends_on)


def test_seasons_may_meet():
    build(m.Season, SPRING)
    row = build(m.Season, {"starts_on": date(2026, 7, 1), "ends_on": date(2026, 12, 31)})
    write(row, ends_on=date(2026, 12, 30))


def test_no_constraint_is_left_out():
    assert set(CHECKS) | {"farm_is_one"} == set(constraints(CheckConstraint))
    partial = {name for name, (_model, c) in constraints(UniqueConstraint).items() if c.condition}
    assert partial == set(PARTIAL)
    assert set(ROWS) == set(MODELS)


def test_foreign_keys_are_held():
    run = build(m.Run)
    with pytest.raises(IntegrityError), transaction.atomic():
        m.Pairing.objects.filter(pk=run.pairing_id)._raw_delete("default")
        connection.check_constraints()
