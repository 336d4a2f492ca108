"""Plants that leave a flat alive: where to, and how many of which run; their grades."""

from datetime import date
from typing import Self

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Event, EventQuerySet, choices_check
from nursery.models.check import LEAVING_REASONS, Cause, Check


class LeavingQuerySet(EventQuerySet):
    def by_number(self) -> Self:
        """Leavings of which nobody said which cells they were."""
        return self.filter(check_ref__isnull=True)

    def latest_destinations(self) -> Self:
        """Leavings that say where to, the last first."""
        return self.exclude(destination="").order_by("-at", "-pk")

    def into_pools(self) -> Self:
        """Leavings whose plants now stand in a pooled flat, known by their number."""
        return self.by_number().filter(to_flat__isnull=False)


class Leaving(Event):
    """Plants left ``flat`` alive on ``day``, for one reason, to one destination.

    Told cell by cell, the marks of ``check_ref`` say which; else ``counts`` say how many of each run. Plants
    moved together have a ``to_flat``: told by number it is a pooled flat, which holds what the counts say, so
    that no plant can be lost or doubled between the two.
    """

    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="leavings")
    day = models.DateField(_("day"))
    reason = models.CharField(
        _("reason"), max_length=10, choices=[(value, Cause(value).label) for value in LEAVING_REASONS]
    )
    destination = models.CharField(_("destination"), max_length=120, blank=True)
    to_flat = models.ForeignKey(
        "nursery.Flat", models.PROTECT, null=True, blank=True, related_name="arrivals"
    )
    check_ref = models.OneToOneField(
        Check, models.PROTECT, null=True, blank=True, related_name="leaving", db_column="check_id"
    )
    act = models.UUIDField(
        null=True, blank=True, db_index=True, help_text=_("Joins what one touch did to several flats.")
    )

    objects = LeavingQuerySet.as_manager()

    class Meta:
        constraints = [
            choices_check("leaving_reason_valid", "reason", LEAVING_REASONS),
            models.CheckConstraint(
                condition=Q(to_flat__isnull=True) | Q(reason="moved"), name="leaving_to_flat_is_moved"
            ),
            models.CheckConstraint(
                condition=Q(to_flat__isnull=True) | ~Q(to_flat=models.F("flat")),
                name="leaving_to_another_flat",
                violation_error_message=_("These plants stand in this flat already: choose another."),
            ),
        ]


class LeavingCount(models.Model):
    """Plants of one run that left by number."""

    leaving = models.ForeignKey(Leaving, models.CASCADE, related_name="counts")
    run = models.ForeignKey("nursery.Run", models.PROTECT, related_name="leaving_counts")
    plants_count = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["leaving", "run"], name="leaving_count_once_per_run"),
            models.CheckConstraint(condition=Q(plants_count__gte=1), name="leaving_count_at_least_1"),
        ]

    def __str__(self) -> str:
        return f"{self.run_id}: {self.plants_count}"


class GradingQuerySet(EventQuerySet):
    def at_leaving(self) -> Self:
        return self.filter(leaving__isnull=False)

    def by_day(self, day: date) -> Self:
        return self.filter(day__lte=day)


class Grading(Event):
    """Plants were graded, at the record (all that live) or as they left (those that left)."""

    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="gradings")
    day = models.DateField(_("day"))
    leaving = models.ForeignKey(Leaving, models.PROTECT, null=True, blank=True, related_name="gradings")

    objects = GradingQuerySet.as_manager()


class GradeCount(models.Model):
    """Plants of one run by grade. Saleable are first and second."""

    class Grade(models.TextChoices):
        FIRST = "first", _("First")
        SECOND = "second", _("Second")
        CULL = "cull", _("Cull")

    grading = models.ForeignKey(Grading, models.CASCADE, related_name="counts")
    run = models.ForeignKey("nursery.Run", models.PROTECT, related_name="grade_counts")
    grade = models.CharField(max_length=6, choices=Grade)
    heads_per_plant = models.PositiveSmallIntegerField(default=1)
    is_even = models.BooleanField(null=True, blank=True, help_text=_("Two heads of even size."))
    plants_count = models.PositiveIntegerField()

    class Meta:
        constraints = [
            choices_check("grade_count_grade_valid", "grade", ["first", "second", "cull"]),
            models.CheckConstraint(condition=Q(heads_per_plant__gte=1), name="grade_count_heads_at_least_1"),
            models.CheckConstraint(condition=Q(plants_count__gte=1), name="grade_count_at_least_1"),
            models.UniqueConstraint(
                fields=["grading", "run", "grade", "heads_per_plant", "is_even"], name="grade_count_once"
            ),
            models.UniqueConstraint(  # a unique key holds no two NULLs for equal
                fields=["grading", "run", "grade", "heads_per_plant"],
                condition=Q(is_even__isnull=True),
                name="grade_count_once_without_even",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.run_id}: {self.plants_count} {self.grade}"
