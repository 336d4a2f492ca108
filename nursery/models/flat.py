"""Tray formats, layouts, flats; where a flat stands; codes printed ahead."""

from collections.abc import Iterable
from typing import Any, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Exists, F, OuterRef, Q, Subquery, Value
from django.db.models.functions import Concat
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Event, Keyed, choices_check


class TrayFormat(Keyed):
    name = models.CharField(_("name"), max_length=40, unique=True)
    rows = models.PositiveSmallIntegerField(
        _("rows"), validators=[MinValueValidator(1), MaxValueValidator(26)]
    )
    columns = models.PositiveSmallIntegerField(
        _("columns"), validators=[MinValueValidator(1), MaxValueValidator(40)]
    )
    length_mm = models.PositiveIntegerField(_("length, mm"), null=True, blank=True)
    width_mm = models.PositiveIntegerField(_("width, mm"), null=True, blank=True)
    is_built_in = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["rows", "columns", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(rows__gte=1, rows__lte=26, columns__gte=1, columns__lte=40),
                name="tray_format_26_by_40",
                violation_error_message=_("A format has 1 to 26 rows and 1 to 40 columns."),
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def places_count(self) -> int:
        return self.rows * self.columns


class Layout(Keyed):
    """Which places of a flat are used."""

    class Pattern(models.TextChoices):
        EVERY = "every", _("Every cell")
        OTHER_CELL = "other_cell", _("Every other cell")
        OTHER_ROW = "other_row", _("Every other row")

    name = models.CharField(_("name"), max_length=40, unique=True)
    pattern = models.CharField(_("pattern"), max_length=12, choices=Pattern)
    skips_first = models.BooleanField(
        _("the label corner stays empty"), default=False, help_text=_("Begin with the second cell or row.")
    )
    is_built_in = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["id"]
        constraints = [choices_check("layout_pattern_valid", "pattern", ["every", "other_cell", "other_row"])]

    def __str__(self) -> str:
        return self.name

    def used_places(self, rows: int, columns: int) -> list[int]:
        """Return the place numbers (1 at the label corner, row-wise) that this layout uses."""
        skip = int(self.skips_first)
        places = range(1, rows * columns + 1)
        if self.pattern == self.Pattern.OTHER_CELL:
            return [p for p in places if sum(divmod(p - 1, columns)) % 2 == skip]
        if self.pattern == self.Pattern.OTHER_ROW:
            return [p for p in places if (p - 1) // columns % 2 == skip]
        return list(places)


class Stage(models.TextChoices):
    SOWN = "sown", _("Sown")
    BENCH = "bench", _("On the bench")
    CHAMBER = "chamber", _("Chamber")
    ACCLIMATION = "acclimation", _("Acclimation")
    GROWING_ON = "growing_on", _("Growing on")
    DISPATCHED = "dispatched", _("Planted out or dispatched")
    DISCARDED = "discarded", _("Discarded")


STAGES = [s.value for s in Stage]
LEFT_STAGES = [Stage.DISPATCHED, Stage.DISCARDED]


def standing_moves(flat: Any) -> "models.QuerySet[StageMove]":
    """Return the moves of a flat (or of the flat a query refers to) that nobody took back, the last first."""
    return StageMove.objects.standing().filter(flat=flat).order_by("-at", "-id")


class FlatQuerySet(models.QuerySet["Flat"]):
    def with_stage(self) -> Self:
        """Annotate ``stage``, ``place_name`` and ``stage_since`` from the last standing move."""
        moves = standing_moves(OuterRef("pk"))
        return self.annotate(
            stage=Subquery(moves.values("stage")[:1]),
            place_name=Subquery(moves.values("place__name")[:1]),
            stage_since=Subquery(moves.values("at")[:1]),
        )

    def matching(self, text: str) -> Self:
        """Flats (with their stage) whose code, own name, place, pairing or sown cultivar holds ``text``."""
        from nursery.models.bench import Run

        code = "".join(character for character in text if character.isalnum())
        pairing = Concat("pairing__scion__name", Value(" on "), "pairing__rootstock__name")
        runs = Run.objects.annotate(said=pairing).filter(flat=OuterRef("pk"), said__icontains=text)
        found = (
            Q(own_name__icontains=text)
            | Q(place_name__icontains=text)
            | Q(sowing__lot__cultivar__name__icontains=text)
            | Exists(runs)
        )
        return self.filter(found | Q(code__istartswith=code) if code else found)

    def in_stage(self, stage: str) -> Self:
        return self.with_stage().filter(stage=stage)

    def standing_in(self, places: Iterable[models.Model]) -> Self:
        """Flats (with their stage) whose last standing move brought them to one of ``places``."""
        moves = standing_moves(OuterRef("pk"))
        ever = StageMove.objects.filter(flat=OuterRef("pk"), place__in=places)
        here = self.with_stage().filter(Exists(ever)).alias(place_id=Subquery(moves.values("place")[:1]))
        return here.filter(place_id__in=places).exclude(stage__in=LEFT_STAGES)

    def growing(self, pairing_ids: Iterable[int]) -> Self:
        """Flats kept here (with their stage) on which these pairings stand, grafted there or moved in."""
        from nursery.models.bench import Run
        from nursery.models.leaving import Leaving

        here = Run.objects.filter(flat=OuterRef("pk"), pairing__in=pairing_ids)
        came = Leaving.objects.filter(to_flat=OuterRef("pk"), flat__runs__pairing__in=pairing_ids)
        flats = self.kept().with_stage().filter(Exists(here) | Exists(came))
        return flats.filter(Q(stage__isnull=True) | ~Q(stage__in=LEFT_STAGES))

    def nowhere(self) -> Self:
        """Flats (with their stage) that are still here and of which nobody noted where."""
        here = self.with_stage().kept().filter(place_name__isnull=True)
        return here.filter(Q(stage__isnull=True) | ~Q(stage__in=LEFT_STAGES))

    def kept(self) -> Self:
        """Flats that the farm keeps cell by cell (no imported tallies)."""
        return self.filter(origin=Flat.Origin.MARKS)


class Flat(models.Model):
    class Origin(models.TextChoices):
        MARKS = "marks", _("kept here")
        TALLY = "tally", _("imported tally")

    code = models.CharField(_("code"), max_length=7, unique=True, editable=False)
    tray_format = models.ForeignKey(
        TrayFormat, models.PROTECT, null=True, blank=True, related_name="flats", verbose_name=_("format")
    )
    layout = models.ForeignKey(
        Layout, models.PROTECT, null=True, blank=True, related_name="flats", verbose_name=_("layout")
    )
    sowing = models.ForeignKey(
        "nursery.Sowing",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="flats",
        verbose_name=_("sown from"),
        help_text=_("Set where the flat was sown and is grafted in place."),
    )
    blank_places = models.JSONField(
        _("blanks"), null=True, blank=True, help_text=_("Place numbers without a plant; empty until asked.")
    )
    origin = models.CharField(max_length=6, choices=Origin, default=Origin.MARKS, editable=False)
    season = models.ForeignKey(
        "nursery.Season", models.PROTECT, null=True, blank=True, related_name="tally_flats", editable=False
    )
    is_pooled = models.BooleanField(
        default=False,
        editable=False,
        help_text=_("Holds plants moved together by number: no cell is known, checks are by numbers."),
    )
    own_name = models.CharField(_("the farm's own name"), max_length=60, blank=True)
    note = models.TextField(_("note"), blank=True)
    created_at = models.DateTimeField()

    objects = FlatQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            choices_check("flat_origin_valid", "origin", ["marks", "tally"]),
            models.UniqueConstraint(
                fields=["season", "own_name"],
                condition=Q(origin="tally"),
                name="flat_own_name_once_per_season",
                violation_error_message=_("This season already has a flat of that name."),
            ),
            models.CheckConstraint(
                condition=Q(origin="tally", season__isnull=False, tray_format__isnull=True)
                | Q(origin="marks", tray_format__isnull=False, layout__isnull=False),
                name="flat_of_one_origin",
                violation_error_message=_("A flat kept here needs a format and a layout."),
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        return f"/{self.code}"


class StageMove(Event):
    """A flat came to a stage, and perhaps to a place."""

    flat = models.ForeignKey(Flat, models.PROTECT, related_name="moves")
    stage = models.CharField(_("stage"), max_length=12, choices=Stage)
    place = models.ForeignKey("nursery.Place", models.PROTECT, null=True, blank=True, related_name="moves")
    is_loss = models.BooleanField(
        default=False, help_text=_("Discarded as a loss: the plants left are counted dead.")
    )
    is_over_capacity = models.BooleanField(default=False)
    act = models.UUIDField(
        null=True, blank=True, db_index=True, help_text=_("Joins what one touch did to several flats.")
    )
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["flat", "-at", "-id"], name="stage_move_latest")]
        constraints = [
            choices_check("stage_move_stage_valid", "stage", STAGES),
            models.CheckConstraint(
                condition=Q(is_loss=False) | Q(stage="discarded"), name="stage_move_loss_is_discarded"
            ),
        ]


class PrintedCodeQuerySet(models.QuerySet["PrintedCode"]):
    def free(self) -> Self:
        """Codes that nothing bears yet."""
        return self.filter(used_at__isnull=True)


class PrintedCode(models.Model):
    """A code printed ahead, on a roll, before anything bears it."""

    code = models.CharField(max_length=7, unique=True)
    printed_at = models.DateTimeField()
    printed_by = models.ForeignKey("nursery.Account", models.PROTECT, null=True, related_name="+")
    used_at = models.DateTimeField(null=True, blank=True)

    objects = PrintedCodeQuerySet.as_manager()

    def __str__(self) -> str:
        return self.code


class LabelStock(Keyed):
    """A label paper of the farm's own, by its measures in mm; see ``nursery.labels.stocks.Stock``."""

    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Letter", "Letter"
        ROLL = "roll", _("Roll or single labels")

    name = models.CharField(_("name"), max_length=40, unique=True)
    paper = models.CharField(_("paper"), max_length=6, choices=Paper)
    label_width_mm = models.DecimalField(_("label width, mm"), max_digits=6, decimal_places=2)
    label_height_mm = models.DecimalField(_("label height, mm"), max_digits=6, decimal_places=2)
    columns = models.PositiveSmallIntegerField(_("labels across"), default=1)
    rows = models.PositiveSmallIntegerField(_("labels down"), default=1)
    left_mm = models.DecimalField(_("left margin, mm"), max_digits=6, decimal_places=2, default=0)
    top_mm = models.DecimalField(_("top margin, mm"), max_digits=6, decimal_places=2, default=0)
    pitch_x_mm = models.DecimalField(
        _("from label to label across, mm"), max_digits=6, decimal_places=2, default=0
    )
    pitch_y_mm = models.DecimalField(
        _("from label to label down, mm"), max_digits=6, decimal_places=2, default=0
    )
    pad_mm = models.DecimalField(_("blank edge, mm"), max_digits=4, decimal_places=2, default=2)
    shift_x_mm = models.DecimalField(
        _("printer's shift to the right, mm"), max_digits=4, decimal_places=2, default=0
    )
    shift_y_mm = models.DecimalField(_("printer's shift down, mm"), max_digits=4, decimal_places=2, default=0)
    soil_mm = models.DecimalField(
        _("part in the soil, mm"), max_digits=5, decimal_places=2, default=0
    )  # of a stake tag; 0 for any other label

    class Meta:
        ordering = ["name"]
        constraints = [
            choices_check("label_stock_paper_valid", "paper", ["A4", "Letter", "roll"]),
            models.CheckConstraint(
                condition=Q(label_width_mm__gt=0, label_height_mm__gt=0, columns__gte=1, rows__gte=1),
                name="label_stock_has_labels",
                violation_error_message=_("A label paper needs a label size and at least one label."),
            ),
            models.CheckConstraint(
                condition=Q(soil_mm__gte=0, soil_mm__lt=F("label_height_mm")),
                name="label_stock_soil_lt_height",
                violation_error_message=_("A part of the tag has to stay above the soil."),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class LabelPrint(models.Model):
    """A label that went to the printer; a flat finished without one waits in the queue."""

    code = models.CharField(max_length=7, db_index=True)
    stock = models.CharField(max_length=40)
    printed_at = models.DateTimeField()
    printed_by = models.ForeignKey("nursery.Account", models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.code} {self.stock}"
