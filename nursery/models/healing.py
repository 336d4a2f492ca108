"""Healing plans, their steps, the steps done, and readings of the air."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Event, Keyed, choices_check
from nursery.models.flat import STAGES, Stage
from nursery.models.plant import METHODS, Method


class HealingPlan(Keyed):
    name = models.CharField(_("name"), max_length=60, unique=True)
    crop = models.ForeignKey("nursery.Crop", models.PROTECT, null=True, blank=True, related_name="plans")
    method = models.CharField(_("method"), max_length=20, choices=Method, blank=True)

    class Meta:
        constraints = [choices_check("healing_plan_method_valid", "method", ["", *METHODS])]

    def __str__(self) -> str:
        return self.name


class Step(Keyed):
    plan = models.ForeignKey(HealingPlan, models.CASCADE, related_name="steps")
    number = models.PositiveSmallIntegerField()
    after_hours = models.PositiveIntegerField(_("hours after grafting"))
    instruction = models.CharField(_("instruction"), max_length=120)
    stage = models.CharField(_("stage"), max_length=12, choices=Stage, blank=True)
    is_covered = models.BooleanField(_("cover on"), null=True, blank=True)
    vent_share = models.DecimalField(_("vent"), max_digits=3, decimal_places=2, null=True, blank=True)
    light = models.CharField(_("light"), max_length=40, blank=True)
    mist = models.CharField(_("mist"), max_length=40, blank=True)
    temp_low_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    temp_high_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    humidity_low_share = models.DecimalField(max_digits=4, decimal_places=3, null=True, blank=True)
    humidity_high_share = models.DecimalField(max_digits=4, decimal_places=3, null=True, blank=True)
    origin = models.CharField(_("where this comes from"), max_length=120, blank=True)

    class Meta:
        ordering = ["plan", "number"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "number"], name="step_number_once_per_plan"),
            choices_check("step_stage_valid", "stage", ["", *STAGES]),
            models.CheckConstraint(
                condition=Q(vent_share__isnull=True) | Q(vent_share__gte=0, vent_share__lte=1),
                name="step_vent_is_share",
            ),
            models.CheckConstraint(
                condition=Q(temp_low_c__isnull=True)
                | Q(temp_high_c__isnull=True)
                | Q(temp_low_c__lte=F("temp_high_c")),
                name="step_temp_band_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.instruction


class StepDone(Event):
    class Outcome(models.TextChoices):
        DONE = "done", _("Done")
        COVERED_AGAIN = "covered_again", _("Covered again")
        SKIPPED = "skipped", _("Skipped")

    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="steps_done")
    step = models.ForeignKey(Step, models.PROTECT, related_name="done")
    outcome = models.CharField(max_length=14, choices=Outcome)
    again_after_hours = models.PositiveIntegerField(null=True, blank=True)
    remark = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            choices_check("step_done_outcome_valid", "outcome", ["done", "covered_again", "skipped"])
        ]


class Reading(models.Model):
    """Temperature and humidity of a place at one moment."""

    place = models.ForeignKey("nursery.Place", models.PROTECT, related_name="readings", db_index=False)
    at = models.DateTimeField()
    temp_c = models.FloatField(null=True, blank=True)
    humidity_share = models.FloatField(
        null=True, blank=True, help_text=_("As the sensor said; fog reads over 1.")
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["place", "at"], name="reading_once_per_place_and_time")
        ]

    def __str__(self) -> str:
        return f"{self.place_id} {self.at}"
