"""Sessions at the bench, runs (who grafted what), cells, blades."""

from typing import Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Event, Keyed, choices_check
from nursery.models.plant import METHODS, Method


class SessionQuerySet(models.QuerySet["Session"]):
    def open(self) -> Self:
        return self.filter(ended_at__isnull=True)

    def ended(self) -> Self:
        return self.filter(ended_at__isnull=False)

    def with_flat_counts(self) -> Self:
        """Annotate ``flats_count``, and ``in_hand_count``: runs still being grafted."""
        in_hand = Q(runs__finished_at__isnull=True, runs__started_at__isnull=False)
        return self.annotate(
            flats_count=models.Count("runs__flat", distinct=True),
            in_hand_count=models.Count("runs", filter=in_hand, distinct=True),
        )


class Session(Keyed):
    """A grafting shift at a bench."""

    started_at = models.DateTimeField(_("started"))
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)
    place = models.ForeignKey("nursery.Place", models.PROTECT, null=True, blank=True, verbose_name=_("bench"))
    opened_by = models.ForeignKey("nursery.Account", models.PROTECT, null=True, related_name="+")
    note = models.TextField(_("note"), blank=True)

    objects = SessionQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")),
                name="session_ends_after_start",
                violation_error_message=_("A session cannot end before it starts."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.started_at:%Y-%m-%d %H:%M}"


class Pause(models.Model):
    """Time within a session that is no work (lunch)."""

    session = models.ForeignKey(Session, models.CASCADE, related_name="pauses")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["started_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["session"], condition=Q(ended_at__isnull=True), name="pause_one_open_per_session"
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")),
                name="pause_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.started_at:%H:%M}"


class RunQuerySet(models.QuerySet["Run"]):
    def open(self) -> Self:
        """Runs still being grafted."""
        return self.filter(finished_at__isnull=True, started_at__isnull=False)

    def left_over(self) -> Self:
        """Runs of sessions that have ended."""
        return self.filter(session__ended_at__isnull=False)

    def grafting(self, cultivar_id: int) -> Self:
        """Runs in whose pairing a cultivar stands on either side."""
        return self.filter(Q(pairing__scion=cultivar_id) | Q(pairing__rootstock=cultivar_id))

    def latest_at_the_bench(self) -> Self:
        """The run begun last comes first, with the shape of its flat."""
        runs = self.filter(started_at__isnull=False).order_by("-started_at", "-pk")
        return runs.select_related("flat__tray_format", "flat__layout")

    def named(self) -> Self:
        return self.select_related(
            "pairing__scion__crop", "pairing__rootstock", "worker", "second_worker", "session"
        )


class Run(Keyed):
    """Cells of one flat joined by one worker (or pair) in one session: one pairing, one method."""

    class Cut(models.TextChoices):
        ABOVE = "above", _("Above the cotyledons")
        BELOW = "below", _("Below the cotyledons")
        UNKNOWN = "unknown", _("Not recorded")

    class Roots(models.TextChoices):
        OWN = "own", _("On own roots")
        RESTUCK = "restuck", _("Restuck (roots cut off)")
        UNKNOWN = "unknown", _("Not recorded")

    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="runs")
    number = models.PositiveSmallIntegerField(help_text=_("Order of the runs on this flat, from 1."))
    session = models.ForeignKey(Session, models.PROTECT, null=True, blank=True, related_name="runs")
    pairing = models.ForeignKey("nursery.Pairing", models.PROTECT, related_name="runs")
    method = models.CharField(_("method"), max_length=20, choices=Method)
    grafted_on = models.DateField(_("grafted"))
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    first_place = models.PositiveSmallIntegerField(
        default=1, help_text=_("Place at which this run began, counted from the label corner.")
    )
    worker = models.ForeignKey(
        "nursery.Worker",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="runs",
        verbose_name=_("grafter"),
    )
    second_worker = models.ForeignKey(
        "nursery.Worker", models.PROTECT, null=True, blank=True, related_name="runs_as_second"
    )
    scion_cut_by = models.ForeignKey(
        "nursery.Worker", models.PROTECT, null=True, blank=True, related_name="runs_scion_cut"
    )
    rootstock_cut_by = models.ForeignKey(
        "nursery.Worker", models.PROTECT, null=True, blank=True, related_name="runs_rootstock_cut"
    )
    cut = models.CharField(_("cut"), max_length=8, choices=Cut, default=Cut.UNKNOWN)
    roots = models.CharField(_("roots"), max_length=8, choices=Roots, default=Roots.UNKNOWN)
    clip = models.CharField(_("clip or tube"), max_length=40, blank=True)
    rested_hours = models.DecimalField(
        _("hours rested cool and dim"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    is_fresh_blade = models.BooleanField(_("fresh blade for this flat"), null=True, blank=True)
    is_regraft = models.BooleanField(default=False)
    sowings = models.ManyToManyField("nursery.Sowing", through="RunSowing", related_name="runs")

    objects = RunQuerySet.as_manager()

    class Meta:
        ordering = ["flat", "number"]
        indexes = [models.Index(fields=["session", "started_at"], name="run_session_started")]
        constraints = [
            models.UniqueConstraint(fields=["flat", "number"], name="run_number_once_per_flat"),
            choices_check("run_method_valid", "method", METHODS),
            choices_check("run_cut_valid", "cut", ["above", "below", "unknown"]),
            choices_check("run_roots_valid", "roots", ["own", "restuck", "unknown"]),
            models.CheckConstraint(
                condition=Q(worker__isnull=True)
                | Q(second_worker__isnull=True)
                | ~Q(worker=F("second_worker")),
                name="run_pair_is_two_people",
                violation_error_message=_("A pair is two different people."),
            ),
            models.CheckConstraint(
                condition=Q(second_worker__isnull=True) | Q(worker__isnull=False),
                name="run_second_needs_first",
            ),
            models.CheckConstraint(
                condition=Q(rested_hours__isnull=True) | Q(rested_hours__gte=0),
                name="run_rested_not_negative",
                violation_error_message=_("Hours rested cannot be below zero."),
            ),
            models.CheckConstraint(
                condition=Q(finished_at__isnull=True)
                | Q(started_at__isnull=True)
                | Q(finished_at__gte=F("started_at")),
                name="run_finishes_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.flat_id}/{self.number}"


class RunSowing(models.Model):
    """Which sowing stood on which side of a run; a side may have several, or none recorded."""

    class Side(models.TextChoices):
        SCION = "scion", _("Scion")
        ROOTSTOCK = "rootstock", _("Rootstock")

    run = models.ForeignKey(Run, models.CASCADE, related_name="run_sowings")
    sowing = models.ForeignKey("nursery.Sowing", models.PROTECT, related_name="run_sowings")
    side = models.CharField(max_length=10, choices=Side)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "sowing", "side"], name="run_sowing_once_per_side"),
            choices_check("run_sowing_side_valid", "side", ["scion", "rootstock"]),
        ]

    def __str__(self) -> str:
        return f"{self.side}: {self.sowing_id}"


class Severing(Event):
    """Second cut of a tongue-approach graft; its take counts from here."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="severings")
    severed_on = models.DateField()


class BladeEvent(Event):
    class Kind(models.TextChoices):
        CHANGED = "changed", _("Blade changed")
        DISINFECTED = "disinfected", _("Blade disinfected")

    session = models.ForeignKey(Session, models.PROTECT, related_name="blade_events")
    flat = models.ForeignKey(
        "nursery.Flat", models.PROTECT, null=True, blank=True, related_name="blade_events"
    )
    kind = models.CharField(max_length=12, choices=Kind)
    product = models.CharField(_("product"), max_length=60, blank=True)

    class Meta:
        constraints = [choices_check("blade_event_kind_valid", "kind", ["changed", "disinfected"])]


class Cell(models.Model):
    """One graft's stay in one place of one flat."""

    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="cells")
    place_no = models.PositiveSmallIntegerField(help_text=_("Row-wise from the label corner, from 1."))
    graft_no = models.PositiveSmallIntegerField(
        default=1, help_text=_("1 for the first graft in this place, 2 for a re-graft, and so on.")
    )
    run = models.ForeignKey(Run, models.PROTECT, related_name="cells")
    order_in_run = models.PositiveSmallIntegerField()
    is_present = models.BooleanField(
        default=True, help_text=_("The newest graft in this place; an older one was dead or gone.")
    )
    moved_from = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="moved_to")
    came_by = models.ForeignKey(
        "nursery.Leaving",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="cells_moved",
        help_text=_("For a plant that was moved in: the act that moved it, and so the day."),
    )

    class Meta:
        ordering = ["flat", "place_no", "graft_no"]
        constraints = [
            models.UniqueConstraint(
                fields=["flat", "place_no", "graft_no"], name="cell_graft_once_per_place"
            ),
            models.UniqueConstraint(
                fields=["flat", "place_no"], condition=Q(is_present=True), name="cell_one_present_per_place"
            ),
            models.CheckConstraint(
                condition=Q(place_no__gte=1, graft_no__gte=1, order_in_run__gte=1),
                name="cell_numbers_from_1",
            ),
            models.CheckConstraint(
                condition=Q(moved_from__isnull=True, came_by__isnull=True)
                | Q(moved_from__isnull=False, came_by__isnull=False),
                name="cell_moved_by_an_act",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place_no}.{self.graft_no}"
