"""Places where flats stand; a place may stand in another."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Event, choices_check


class Place(models.Model):
    class Kind(models.TextChoices):
        BENCH = "bench", _("Bench")
        CHAMBER = "chamber", _("Healing chamber")
        ROOM = "room", _("Room")
        BAY = "bay", _("Greenhouse bay")
        TROLLEY = "trolley", _("Trolley")

    code = models.CharField(_("code"), max_length=7, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=60, unique=True)
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    stands_in = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="holds", verbose_name=_("stands in")
    )
    capacity_flats = models.PositiveIntegerField(_("room for flats"), null=True, blank=True)
    walk_order = models.PositiveIntegerField(_("order on a walk"), default=0)
    note = models.TextField(_("note"), blank=True)

    class Meta:
        ordering = ["walk_order", "name"]
        constraints = [
            choices_check("place_kind_valid", "kind", ["bench", "chamber", "room", "bay", "trolley"]),
            models.CheckConstraint(
                condition=Q(stands_in__isnull=True) | ~Q(stands_in=F("id")),
                name="place_not_in_itself",
                violation_error_message=_("A place cannot stand in itself."),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class PlaceMove(Event):
    """A place (a trolley) came to stand in another, or in none; ``Place.stands_in`` is the last one."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="moves_of_it")
    stands_in = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="moves_into_it")
    act = models.UUIDField(null=True, blank=True, db_index=True)

    class Meta:
        indexes = [models.Index(fields=["place", "-at", "-id"], name="place_move_latest")]
        constraints = [
            models.CheckConstraint(
                condition=Q(stands_in__isnull=True) | ~Q(stands_in=F("place")),
                name="place_move_not_into_itself",
                violation_error_message=_("A place cannot stand in itself."),
            )
        ]
