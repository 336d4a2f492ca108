"""The farm: one row of settings that the grower can see and change."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import choices_check


class FarmQuerySet(models.QuerySet["Farm"]):
    def current(self) -> "Farm":
        """The farm, or an unsaved one with the starting settings before the first account."""
        return self.filter(pk=1).first() or Farm(pk=1, name="")


class Farm(models.Model):
    """The one farm that this book belongs to."""

    class Units(models.TextChoices):
        METRIC = "metric", _("millimetres, °C")
        US = "us", _("inches, °F")

    class Paper(models.TextChoices):
        A4 = "a4", "A4"
        LETTER = "letter", "Letter"

    class TrayWord(models.TextChoices):
        FLAT = "flat", _("flat")
        TRAY = "tray", _("tray")

    class BladeRule(models.TextChoices):
        NOTED = "noted", _("Note each change or disinfection")
        FRESH = "fresh", _("A fresh blade for every flat")

    name = models.CharField(_("farm name"), max_length=100)
    time_zone = models.CharField(_("time zone"), max_length=64, default="UTC")
    units = models.CharField(_("units"), max_length=10, choices=Units, default=Units.METRIC)
    paper = models.CharField(_("paper"), max_length=10, choices=Paper, default=Paper.A4)
    tray_word = models.CharField(_("word for a flat"), max_length=10, choices=TrayWord, default=TrayWord.FLAT)
    blade_rule = models.CharField(_("blades"), max_length=10, choices=BladeRule, default=BladeRule.NOTED)
    currency = models.CharField(_("currency"), max_length=3, default="EUR")
    label_address = models.CharField(
        _("address on labels"),
        max_length=120,
        blank=True,
        help_text=_("Where a phone finds this program, for example http://192.168.1.20:8000."),
    )
    label_address_fixed_at = models.DateTimeField(null=True, blank=True, editable=False)
    is_demo = models.BooleanField(default=False, editable=False)

    objects = FarmQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(pk=1), name="farm_is_one", violation_error_message=_("There is one farm.")
            ),
            choices_check("farm_units_valid", "units", ["metric", "us"]),
            choices_check("farm_paper_valid", "paper", ["a4", "letter"]),
            choices_check("farm_tray_word_valid", "tray_word", ["flat", "tray"]),
            choices_check("farm_blade_rule_valid", "blade_rule", ["noted", "fresh"]),
        ]

    def __str__(self) -> str:
        return self.name
