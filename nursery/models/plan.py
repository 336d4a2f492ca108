"""What is wanted of a season, and what became of the plants in the bed."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Keyed


class Target(Keyed):
    season = models.ForeignKey("nursery.Season", models.PROTECT, related_name="targets")
    pairing = models.ForeignKey("nursery.Pairing", models.PROTECT, related_name="targets")
    plants_wanted = models.PositiveIntegerField(_("saleable plants wanted"))
    heads_per_plant = models.PositiveSmallIntegerField(_("heads per plant"), default=1)
    wanted_on = models.DateField(_("wanted on"))
    customer = models.CharField(_("bed or customer"), max_length=80, blank=True)
    confidence_share = models.DecimalField(_("how sure"), max_digits=4, decimal_places=3, default="0.900")

    class Meta:
        ordering = ["wanted_on"]
        constraints = [
            models.CheckConstraint(condition=Q(plants_wanted__gte=1), name="target_plants_at_least_1"),
            models.CheckConstraint(
                condition=Q(confidence_share__gt=0, confidence_share__lt=1), name="target_confidence_is_share"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pairing_id}: {self.plants_wanted}"


class Planting(Keyed):
    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="plantings")
    planted_on = models.DateField(_("planted"))
    bed = models.CharField(_("bed"), max_length=60)
    plants_count = models.PositiveIntegerField(_("plants"))

    def __str__(self) -> str:
        return f"{self.bed} {self.planted_on}"


class Harvest(Keyed):
    planting = models.ForeignKey(Planting, models.PROTECT, related_name="harvests")
    harvested_on = models.DateField(_("harvested"))
    kilograms = models.DecimalField(_("kg"), max_digits=9, decimal_places=2)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(kilograms__gte=0), name="harvest_not_negative")]

    def __str__(self) -> str:
        return f"{self.planting_id} {self.harvested_on}"
