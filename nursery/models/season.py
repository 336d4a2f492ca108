"""Seasons: stretches of days that never overlap (the database holds that, see migration 0002)."""

from datetime import date
from typing import Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Keyed


class SeasonQuerySet(models.QuerySet["Season"]):
    def holding(self, day: date) -> Self:
        """The season that ``day`` falls in (none or one row)."""
        return self.filter(starts_on__lte=day, ends_on__gte=day)

    def overlapping(self, starts_on: date, ends_on: date) -> Self:
        return self.filter(starts_on__lte=ends_on, ends_on__gte=starts_on)


class Season(Keyed):
    name = models.CharField(_("name"), max_length=60, unique=True)
    starts_on = models.DateField(_("first day"))
    ends_on = models.DateField(_("last day"))

    objects = SeasonQuerySet.as_manager()

    class Meta:
        ordering = ["-starts_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")),
                name="season_ends_after_start",
                violation_error_message=_("The last day lies before the first day."),
            )
        ]

    def __str__(self) -> str:
        return self.name
