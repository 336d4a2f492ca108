"""Crops, cultivars, pairings; seed lots and sowings."""

from typing import Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from nursery.calc.days import RECORD_DAYS
from nursery.models.base import Keyed, choices_check


class Method(models.TextChoices):
    """How scion and rootstock are joined."""

    SPLICE = "splice", _("Splice (tube or clip)")
    CLEFT = "cleft", _("Cleft")
    ONE_COTYLEDON = "one_cotyledon", _("One cotyledon")
    HOLE_INSERTION = "hole_insertion", _("Hole insertion")
    TONGUE = "tongue", _("Tongue approach")


METHODS = [m.value for m in Method]


class Crop(Keyed):
    name = models.CharField(_("name"), max_length=60, unique=True)
    botanical_name = models.CharField(_("botanical name"), max_length=100, blank=True)
    method = models.CharField(_("usual method"), max_length=20, choices=Method, blank=True)
    method_origin = models.CharField(
        _("where this comes from"),
        max_length=120,
        blank=True,
        help_text=_("A source, or “common practice, no source”."),
    )

    class Meta:
        ordering = ["name"]
        constraints = [choices_check("crop_method_valid", "method", ["", *METHODS])]

    def __str__(self) -> str:
        return self.name


class Cultivar(Keyed):
    class Use(models.TextChoices):
        SCION = "scion", _("Scion")
        ROOTSTOCK = "rootstock", _("Rootstock")
        EITHER = "either", _("Either")

    crop = models.ForeignKey(Crop, models.PROTECT, related_name="cultivars", verbose_name=_("crop"))
    name = models.CharField(_("name"), max_length=80)
    use = models.CharField(_("used as"), max_length=10, choices=Use, default=Use.EITHER)
    breeder = models.CharField(_("breeder"), max_length=80, blank=True)
    note = models.TextField(_("note"), blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["crop", "name"],
                name="cultivar_name_once_per_crop",
                violation_error_message=_("This crop already has a cultivar of that name."),
            ),
            choices_check("cultivar_use_valid", "use", ["scion", "rootstock", "either"]),
        ]

    def __str__(self) -> str:
        return self.name


def pairing_name(scion: str, rootstock: str) -> str:
    """Name a pairing as it is said everywhere."""
    return gettext("%(scion)s on %(rootstock)s") % {"scion": scion, "rootstock": rootstock}


class PairingQuerySet(models.QuerySet["Pairing"]):
    def named(self) -> Self:
        """Load what a pairing's name needs."""
        return self.select_related("scion__crop", "rootstock")

    def likely_after(self, pairing: "Pairing", session_id: int | None) -> Self:
        """Other pairings that may follow on the same flat: on the same rootstock, or used in the session."""
        near = Q(rootstock=pairing.rootstock_id)
        if session_id:
            near |= Q(pk__in=self.model._base_manager.filter(runs__session=session_id).values("pk"))
        return self.filter(near).exclude(pk=pairing.pk)


class Pairing(Keyed):
    """A scion on a rootstock. It carries defaults only; what was done stands on the run."""

    scion = models.ForeignKey(
        Cultivar, models.PROTECT, related_name="pairings_as_scion", verbose_name=_("scion")
    )
    rootstock = models.ForeignKey(
        Cultivar, models.PROTECT, related_name="pairings_as_rootstock", verbose_name=_("rootstock")
    )
    method = models.CharField(_("usual method"), max_length=20, choices=Method, default=Method.SPLICE)
    sow_offset_days = models.SmallIntegerField(
        _("sowing offset, days"),
        null=True,
        blank=True,
        validators=[MinValueValidator(-60), MaxValueValidator(60)],
        help_text=_("How many days after the rootstock the scion is sown; below zero: the scion goes first."),
    )
    record_days = models.PositiveSmallIntegerField(
        _("record day"),
        default=RECORD_DAYS,
        validators=[MinValueValidator(1), MaxValueValidator(90)],
        help_text=_("Days after grafting (tongue approach: after severing) on which the take is final."),
    )

    objects = PairingQuerySet.as_manager()

    class Meta:
        ordering = ["scion__name", "rootstock__name"]
        constraints = [
            models.UniqueConstraint(
                fields=["scion", "rootstock"],
                name="pairing_once",
                violation_error_message=_("This pairing is already in the book."),
            ),
            choices_check("pairing_method_valid", "method", METHODS),
            models.CheckConstraint(
                condition=Q(record_days__gte=1, record_days__lte=90),
                name="pairing_record_days_1_to_90",
                violation_error_message=_("The record day lies between 1 and 90."),
            ),
        ]

    def __str__(self) -> str:
        return pairing_name(self.scion.name, self.rootstock.name)


class SeedLot(Keyed):
    """One delivery of seed of one cultivar."""

    class Organic(models.TextChoices):
        ORGANIC = "organic", _("Organic")
        UNTREATED = "untreated", _("Conventional, untreated")
        CONVENTIONAL = "conventional", _("Conventional")
        UNKNOWN = "unknown", _("Not recorded")

    cultivar = models.ForeignKey(Cultivar, models.PROTECT, related_name="lots", verbose_name=_("cultivar"))
    lot_number = models.CharField(_("lot number"), max_length=60)
    supplier = models.CharField(_("supplier"), max_length=80, blank=True)
    received_on = models.DateField(_("received"), null=True, blank=True)
    seeds_count = models.PositiveIntegerField(_("seeds"), null=True, blank=True)
    price = models.DecimalField(_("price of the lot"), max_digits=10, decimal_places=2, null=True, blank=True)
    germination_share = models.DecimalField(
        _("germination"), max_digits=5, decimal_places=4, null=True, blank=True
    )
    germination_tested_on = models.DateField(_("germination tested"), null=True, blank=True)
    treatment = models.CharField(_("treatment"), max_length=100, blank=True)
    organic = models.CharField(_("organic status"), max_length=15, choices=Organic, default=Organic.UNKNOWN)
    is_on_hold = models.BooleanField(_("on hold"), default=False)
    note = models.TextField(_("note"), blank=True)

    class Meta:
        ordering = ["-received_on", "lot_number"]
        constraints = [
            models.UniqueConstraint(
                fields=["cultivar", "supplier", "lot_number"],
                name="seed_lot_once",
                violation_error_message=_("This lot of that supplier is already in the book."),
            ),
            models.CheckConstraint(
                condition=Q(germination_share__isnull=True)
                | Q(germination_share__gte=0, germination_share__lte=1),
                name="seed_lot_germination_is_share",
                violation_error_message=_("Germination lies between 0 and 100 percent."),
            ),
            models.CheckConstraint(
                condition=Q(price__isnull=True) | Q(price__gte=0),
                name="seed_lot_price_not_negative",
                violation_error_message=_("A price cannot be below zero."),
            ),
            choices_check(
                "seed_lot_organic_valid", "organic", ["organic", "untreated", "conventional", "unknown"]
            ),
        ]

    def __str__(self) -> str:
        return f"{self.cultivar.name}, {self.lot_number}"


class SowingQuerySet(models.QuerySet["Sowing"]):
    def named(self) -> Self:
        return self.select_related("lot__cultivar__crop")


class Sowing(models.Model):
    """Seed of one lot sown on one day."""

    code = models.CharField(_("code"), max_length=7, unique=True, editable=False)
    lot = models.ForeignKey(SeedLot, models.PROTECT, related_name="sowings", verbose_name=_("seed lot"))
    sown_on = models.DateField(_("sown"))
    seeds_count = models.PositiveIntegerField(_("seeds"))
    is_in_flats = models.BooleanField(_("sown in flats to be grafted in place"), default=False)
    stand_count = models.PositiveIntegerField(_("stand (plants up)"), null=True, blank=True)
    stand_counted_on = models.DateField(_("stand counted"), null=True, blank=True)
    usable_count = models.PositiveIntegerField(_("usable plants"), null=True, blank=True)
    note = models.TextField(_("note"), blank=True)

    objects = SowingQuerySet.as_manager()

    class Meta:
        ordering = ["-sown_on", "code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(stand_count__isnull=True) | Q(stand_count__lte=F("seeds_count")),
                name="sowing_stand_lte_seeds",
                violation_error_message=_("More plants up than seeds sown. Correct the stand or the seeds."),
            ),
            models.CheckConstraint(
                condition=Q(usable_count__isnull=True)
                | (
                    Q(usable_count__lte=F("seeds_count"))
                    & (Q(stand_count__isnull=True) | Q(usable_count__lte=F("stand_count")))
                ),
                name="sowing_usable_lte_stand",
                violation_error_message=_("More usable plants than plants up. Correct one of the two."),
            ),
            models.CheckConstraint(
                condition=Q(seeds_count__gte=1),
                name="sowing_seeds_at_least_1",
                violation_error_message=_("Say how many seeds were sown, at least 1."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot.cultivar.name}, {self.sown_on:%d %b}"
