"""Checks, marks, closings, numbers; the count of each run on each day."""

import uuid
from datetime import date
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Event, EventQuerySet, choices_check

if TYPE_CHECKING:
    from nursery.models.season import Season


class State(models.TextChoices):
    FIRM = "firm", _("Firm")
    WILTING = "wilting", _("Wilting")
    DEAD = "dead", _("Dead")
    GONE = "gone", _("Gone")
    UNMARKED = "unmarked", _("Not marked")


STATES = [s.value for s in State]


class Cause(models.TextChoices):
    """Why a cell died, wilted or left."""

    DRIED = "dried", _("Dried out")
    UNION = "union", _("Slipped or loose union")
    ROT = "rot", _("Rot")
    HEAT = "heat", _("Heat")
    ROOTSTOCK_SHOOTS = "rootstock_shoots", _("Rootstock shoots")
    SCION_ROOTING = "scion_rooting", _("Scion rooting")
    MECHANICAL = "mechanical", _("Broken or knocked")
    OTHER = "other", _("Other")
    DISCARDED = "discarded", _("Flat discarded")
    SOLD = "sold", _("Sold")
    PLANTED = "planted", _("Planted")
    MOVED = "moved", _("Moved")
    CULLED = "culled", _("Culled")
    SAMPLE = "sample", _("Sample")


LOSS_CAUSES = ["dried", "union", "rot", "heat", "rootstock_shoots", "scion_rooting", "mechanical", "other"]
LEAVING_REASONS = ["sold", "planted", "moved", "culled", "sample"]


class CheckQuerySet(models.QuerySet["Check"]):
    def standing(self) -> Self:
        return self.filter(is_void=False)

    def closed(self) -> Self:
        return self.filter(is_closed=True, is_void=False)

    def still_open(self, day: date) -> Self:
        """Checks of ``day`` that nobody closed yet, with who began them."""
        standing = self.filter(is_closed=False, is_void=False, day=day)
        return standing.exclude(kind=Check.Kind.NUMBERS).select_related("by_worker", "sent_by")


class Check(models.Model):
    """One look at one flat on one day on one device."""

    class Kind(models.TextChoices):
        WHOLE = "whole", _("Whole flat")
        PART = "part", _("Part of the flat")
        NUMBERS = "numbers", _("Numbers only")

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="checks")
    day = models.DateField(help_text=_("The farm's date on the corrected clock."))
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.WHOLE)
    seen_places = models.JSONField(
        null=True, blank=True, help_text=_("For a part: the places seen beside those that were tapped.")
    )
    cause = models.CharField(
        max_length=20, choices=Cause, blank=True, help_text=_("Cause for every cell without one of its own.")
    )
    opened_at = models.DateTimeField()
    raw_opened_at = models.DateTimeField()
    received_at = models.DateTimeField()
    device = models.ForeignKey("nursery.Device", models.PROTECT, null=True, blank=True, related_name="checks")
    by_worker = models.ForeignKey(
        "nursery.Worker", models.PROTECT, null=True, blank=True, related_name="checks"
    )
    sent_by = models.ForeignKey("nursery.Account", models.PROTECT, null=True, blank=True, related_name="+")
    is_closed = models.BooleanField(
        default=False, help_text=_("Derived from the closings; recount proves it.")
    )
    is_void = models.BooleanField(default=False)
    opened_as = models.JSONField(
        null=True,
        blank=True,
        editable=False,
        help_text=_("Kind and places it was opened with, where its closing says otherwise."),
    )

    objects = CheckQuerySet.as_manager()

    class Meta:
        ordering = ["day", "opened_at"]
        indexes = [models.Index(fields=["flat", "day"], name="check_flat_day")]
        constraints = [
            choices_check("check_kind_valid", "kind", ["whole", "part", "numbers"]),
            choices_check("check_cause_valid", "cause", ["", *Cause.values]),
        ]

    def __str__(self) -> str:
        return f"{self.flat_id} {self.day}"


class Mark(Event):
    """A statement about one cell."""

    class Kind(models.TextChoices):
        SEEN = "seen", _("Seen")
        UNDO = "undo", _("Taken back")
        CORRECTION = "correction", _("Corrected")

    # Named ``check_ref`` in Python only because a model's ``check`` is Django's own class method.
    check_ref = models.ForeignKey(Check, models.PROTECT, related_name="marks", db_column="check_id")
    cell = models.ForeignKey("nursery.Cell", models.PROTECT, related_name="marks")
    kind = models.CharField(max_length=10, choices=Kind)
    state = models.CharField(max_length=8, choices=State)
    cause = models.CharField(max_length=20, choices=Cause, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    replaces = models.JSONField(default=list, blank=True)
    is_clock_odd = models.BooleanField(
        default=False, help_text=_("In the future, or before the grafting, by its device's clock.")
    )

    class Meta:
        constraints = [
            choices_check("mark_kind_valid", "kind", ["seen", "undo", "correction"]),
            choices_check("mark_state_valid", "state", STATES),
            choices_check("mark_cause_valid", "cause", ["", *Cause.values]),
        ]


class ClosingQuerySet(EventQuerySet):
    def pending_asks(self) -> Self:
        """Askings that nobody answered: not left closed by a grower, no reopening since, still closed."""
        answered = Closing.objects.filter(
            check_ref=OuterRef("check_ref"), kind=Closing.Kind.REOPEN, pk__gt=OuterRef("pk")
        )
        asked = self.standing().filter(kind=Closing.Kind.ASK, check_ref__is_closed=True)
        asked = asked.filter(~Exists(answered), check_ref__is_void=False)
        return asked.select_related("by_worker", "sent_by", "check_ref__flat").order_by("at", "pk")


class Closing(Event):
    """A check was closed, or opened again. A reopening names the closings it takes back.

    A closing may say what was seen: the whole flat, or a part (``seen_places``, beside what was tapped). One
    that does not say leaves the check as it was opened.

    Crew, who may not reopen, ask: that changes nothing but is shown to the growers until one of them reopens
    the check or voids the asking.
    """

    class Kind(models.TextChoices):
        CLOSE = "close", _("Closed")
        REOPEN = "reopen", _("Opened again")
        ASK = "ask", _("Asked to open again")

    class Seen(models.TextChoices):
        WHOLE = "whole", _("Whole flat")
        PART = "part", _("Part of the flat")

    check_ref = models.ForeignKey(Check, models.PROTECT, related_name="closings", db_column="check_id")
    kind = models.CharField(max_length=6, choices=Kind)
    replaces = models.JSONField(default=list, blank=True)
    known_marks = models.JSONField(
        default=list, blank=True, help_text=_("UUIDs of the marks its author could see.")
    )
    tells_known = models.BooleanField(
        default=False,
        help_text=_(
            "Whether its author said which marks were seen: then what was left alone was seen alive."
        ),
    )
    reason = models.CharField(max_length=200, blank=True)
    seen = models.CharField(max_length=5, choices=Seen, blank=True)
    seen_places = models.JSONField(null=True, blank=True)

    objects = ClosingQuerySet.as_manager()

    class Meta:
        constraints = [
            choices_check("closing_kind_valid", "kind", ["close", "reopen", "ask"]),
            choices_check("closing_seen_valid", "seen", ["", "whole", "part"]),
        ]


class NumberCount(models.Model):
    """Dead and wilting of one run in a check by numbers."""

    check_ref = models.ForeignKey(Check, models.PROTECT, related_name="numbers", db_column="check_id")
    run = models.ForeignKey("nursery.Run", models.PROTECT, related_name="number_counts")
    dead_count = models.PositiveIntegerField()
    wilting_count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["check_ref", "run"], name="number_count_once_per_run")]

    def __str__(self) -> str:
        return f"{self.run_id}: {self.dead_count}"


class DayCountQuerySet(models.QuerySet["DayCount"]):
    def records(self) -> Self:
        """The counts that are a run's record, the only ones a take is made of."""
        return self.filter(is_record=True)

    def in_season(self, season: "Season | None") -> Self:
        """The counts of one season, or of all where ``season`` is None."""
        return self if season is None else self.filter(season=season)

    def where_grafted(self) -> Self:
        """Leave out plants that were moved on: a take is counted in the flat where it was grafted."""
        return self.filter(flat=F("run__flat"))


class DayCount(models.Model):
    """One run's count in one flat on one day.

    Written by ``actions.counting`` only, in the transaction of the marks it counts; proved by ``recount``.
    ``alive`` + ``dead`` + ``gone`` = ``seen``, and ``seen`` = ``grafted`` on a complete day.
    """

    class Source(models.TextChoices):
        CELLS = "cells", _("cell by cell")
        NUMBERS = "numbers", _("numbers only")
        TALLY = "tally", _("imported tally")

    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="day_counts", db_index=False)
    run = models.ForeignKey("nursery.Run", models.PROTECT, related_name="day_counts")
    day = models.DateField()
    pairing = models.ForeignKey("nursery.Pairing", models.PROTECT, related_name="day_counts", db_index=False)
    season = models.ForeignKey(
        "nursery.Season", models.SET_NULL, null=True, related_name="day_counts", db_index=False
    )
    grafted = models.PositiveIntegerField()
    seen = models.PositiveIntegerField(help_text=_("Seen that day, or known dead or gone."))
    alive = models.PositiveIntegerField(help_text=_("Wilting included."))
    wilting = models.PositiveIntegerField()
    dead = models.PositiveIntegerField()
    gone = models.PositiveIntegerField()
    gone_early = models.PositiveIntegerField(help_text=_("Gone before day 7, among those gone."))
    source = models.CharField(max_length=8, choices=Source, default=Source.CELLS)
    has_disagreement = models.BooleanField(default=False)
    is_closed = models.BooleanField(default=False)
    is_record = models.BooleanField(default=False)

    objects = DayCountQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["flat", "run", "day"], name="day_count_once"),
            models.UniqueConstraint(
                fields=["run"], condition=Q(is_record=True), name="day_count_one_record_per_run"
            ),
            models.CheckConstraint(condition=Q(seen__lte=F("grafted")), name="day_count_seen_lte_grafted"),
            models.CheckConstraint(
                condition=Q(seen=F("alive") + F("dead") + F("gone")), name="day_count_seen_is_sum"
            ),
            models.CheckConstraint(condition=Q(wilting__lte=F("alive")), name="day_count_wilting_lte_alive"),
            models.CheckConstraint(condition=Q(gone_early__lte=F("gone")), name="day_count_early_lte_gone"),
            models.CheckConstraint(
                condition=Q(is_record=False) | Q(is_closed=True, seen=F("grafted")),
                name="day_count_record_is_complete",
            ),
            choices_check("day_count_source_valid", "source", ["cells", "numbers", "tally"]),
        ]
        indexes = [
            # The flag stands among the columns: SQLite does not count a partial index as covering without it.
            # Pairing and flat come first: the take report sums by them and needs no sorting.
            models.Index(
                fields=[
                    "pairing", "flat", "season", "run", "grafted", "alive", "wilting", "gone", "gone_early",
                    "is_record",
                ],
                condition=Q(is_record=True),
                name="day_count_records",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.flat_id}/{self.run_id} {self.day}"
