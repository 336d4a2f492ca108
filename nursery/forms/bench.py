"""Forms of the bench: the shape of what is typed or tapped. What may be stored is decided by the actions."""

import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.actions.bench import place_names
from nursery.actions.work import SIDES, Work
from nursery.calc.codes import spoken
from nursery.calc.places import PlaceError, read_blanks
from nursery.models import (
    BladeEvent,
    Cultivar,
    Flat,
    Layout,
    Method,
    Pairing,
    Place,
    Run,
    Sowing,
    TrayFormat,
    Worker,
)

SOWINGS_SHOWN = 12
NOT_RECORDED = gettext_lazy("Not recorded")
PRODUCTS = [gettext_lazy("Bleach"), gettext_lazy("Quaternary ammonium"), gettext_lazy("Alcohol 70 %")]


class KeyField(forms.ModelChoiceField):
    """A row chosen by its public key."""

    def __init__(self, queryset: Any, **options: Any) -> None:
        super().__init__(queryset, **{"to_field_name": "key", **options})


class SowingsField(forms.ModelMultipleChoiceField):
    """Sowings of one cultivar, newest first."""

    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, sowing: Sowing) -> str:
        parts = [
            _("lot %s") % sowing.lot.lot_number,
            _("sown %s") % date_format(sowing.sown_on, "MONTH_DAY_FORMAT"),
            spoken(sowing.code),
        ]
        if sowing.lot.is_on_hold:
            parts.append(_("on hold"))
        return " · ".join(parts)


def _worker_field(label: str) -> KeyField:
    return KeyField(Worker.objects.none(), label=label, required=False, empty_label=NOT_RECORDED)


def _sowings_field(label: str) -> SowingsField:
    wrong = gettext_lazy("That sowing is of another cultivar. Choose again, or leave all of them open.")
    return SowingsField(
        Sowing.objects.none(),
        label=label,
        required=False,
        to_field_name="code",
        error_messages={"invalid_choice": wrong, "invalid_pk_value": wrong},
    )


class StartForm(forms.Form):
    place = forms.ModelChoiceField(
        Place.objects.filter(kind=Place.Kind.BENCH),
        label=gettext_lazy("Bench"),
        required=False,
        to_field_name="code",
        empty_label=gettext_lazy("Not said"),
    )
    key = forms.UUIDField(initial=uuid.uuid4, widget=forms.HiddenInput)


class WorkForm(forms.Form):
    """Who grafts what on what, and how. ``work`` is where it starts from."""

    worker = _worker_field(gettext_lazy("Grafter"))
    pairing = KeyField(
        Pairing.objects.named(), label=gettext_lazy("Scion on rootstock"), empty_label=gettext_lazy("Choose")
    )
    second_worker = _worker_field(gettext_lazy("Together with"))
    scion_sowings = _sowings_field(gettext_lazy("Sowing of the scion"))
    rootstock_sowings = _sowings_field(gettext_lazy("Sowing of the rootstock"))
    method = forms.ChoiceField(
        label=gettext_lazy("Method"),
        required=False,
        choices=[("", gettext_lazy("As usual for this pairing")), *Method.choices],
    )
    cut = forms.ChoiceField(label=gettext_lazy("Cut"), choices=Run.Cut.choices, initial=Run.Cut.UNKNOWN)
    roots = forms.ChoiceField(
        label=gettext_lazy("Roots"), choices=Run.Roots.choices, initial=Run.Roots.UNKNOWN
    )
    clip = forms.CharField(label=gettext_lazy("Clip or tube"), required=False, max_length=40)
    rested_hours = forms.DecimalField(
        label=gettext_lazy("Hours rested cool and dim"),
        required=False,
        min_value=0,
        max_digits=4,
        decimal_places=1,
        help_text=gettext_lazy("How long the seedlings stood cool and dim before the cut."),
    )
    scion_cut_by = _worker_field(gettext_lazy("Scions cut by somebody else"))
    rootstock_cut_by = _worker_field(gettext_lazy("Rootstocks cut by somebody else"))

    how_names = (
        "second_worker", "method", "cut", "roots", "clip", "rested_hours", "scion_cut_by", "rootstock_cut_by",
    )  # fmt: skip

    def __init__(self, *args: Any, work: Work | None = None, **options: Any) -> None:
        initial = {} if work is None else {**work.columns(), **{side: getattr(work, side) for side in SIDES}}
        options["initial"] = {**initial, **(options.get("initial") or {})}
        super().__init__(*args, **options)
        workers = Worker.objects.active()
        for name in ("worker", "second_worker", "scion_cut_by", "rootstock_cut_by"):
            self.fields[name].queryset = workers  # type: ignore[attr-defined]
        self.chosen_pairing = self._chosen_pairing()
        for side, of in (("scion_sowings", "scion"), ("rootstock_sowings", "rootstock")):
            if self.chosen_pairing:
                self._offer_sowings(side, getattr(self.chosen_pairing, of))

    def _chosen_pairing(self) -> Pairing | None:
        try:
            key = uuid.UUID(str(self["pairing"].value()))
        except ValueError:
            return None
        return Pairing.objects.named().filter(key=key).first()

    def _offer_sowings(self, side: str, cultivar: Cultivar) -> None:
        field: Any = self.fields[side]
        field.label = _("Sowing of %s") % cultivar.name
        sowings = Sowing.objects.named().filter(lot__cultivar=cultivar)
        # What was chosen before stays on offer, however old it is.
        chosen = self[side].value() or []
        newest = list(sowings.values_list("pk", flat=True)[:SOWINGS_SHOWN])
        field.queryset = sowings.filter(pk__in=newest) | sowings.filter(code__in=chosen)

    @property
    def how_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.how_names]

    @property
    def sowing_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in SIDES]

    @property
    def sowings_said(self) -> str:
        """The lots chosen now, in few words."""
        lots = []
        for field in self.sowing_fields:
            codes = set(field.value() or [])
            lots += [s.lot.lot_number for s in field.field.queryset if s.code in codes]
        return ", ".join(lots)

    @property
    def has_no_sowing(self) -> bool:
        """True where sowings are on offer and none is chosen yet."""
        offered = any(field.field.queryset for field in self.sowing_fields)
        return offered and not self.sowings_said

    def work(self) -> Work:
        """Return what a valid form says."""
        said = dict(self.cleaned_data)
        values = {name: said[name] for name in ("worker", "pairing", *self.how_names)}
        values["method"] = said["method"] or said["pairing"].method
        return Work(**values, **{side: tuple(said[side]) for side in SIDES})


class PutOnForm(WorkForm):
    """A flat and the work on it. Without a code it is a new tray."""

    code = forms.CharField(
        label=gettext_lazy("Code of the flat"),
        required=False,
        help_text=gettext_lazy("Of a sown flat or of a label printed ahead. Leave it empty for a new code."),
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    tray_format = KeyField(TrayFormat.objects.all(), label=gettext_lazy("Cells"), empty_label=None)
    layout = KeyField(Layout.objects.all(), label=gettext_lazy("Layout"), empty_label=None)
    key = forms.UUIDField(initial=uuid.uuid4, widget=forms.HiddenInput)

    @property
    def tray_fields(self) -> list[forms.BoundField]:
        return [self["tray_format"], self["layout"]]


class NextForm(forms.Form):
    """The next flat: whose, perhaps its code."""

    worker = KeyField(Worker.objects.all(), required=False)
    code = forms.CharField(required=False)
    key = forms.UUIDField()


class BladeForm(forms.Form):
    worker = KeyField(Worker.objects.all(), required=False)
    kind = forms.ChoiceField(choices=BladeEvent.Kind.choices)
    product = forms.CharField(required=False, max_length=60)
    uuid = forms.UUIDField()


class HandOverForm(forms.Form):
    """From which cell on, and what changes there: the worker or the pairing."""

    first_place = forms.IntegerField(required=False)
    done_count = forms.IntegerField(label=gettext_lazy("Done so far"), required=False, min_value=0)
    worker = KeyField(Worker.objects.active(), required=False)
    pairing = KeyField(Pairing.objects.named(), required=False)
    other_pairing = KeyField(Pairing.objects.named(), required=False)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if said.get("first_place") is None and said.get("done_count") is None:
            raise ValidationError(
                _("Tap the first cell of the new run, or type how many are done."), code="no_place"
            )
        if not said.get("worker") and not said.get("pairing"):
            said["pairing"] = said.get("other_pairing")
        if not said.get("worker") and not said.get("pairing"):
            raise ValidationError(_("Tap who goes on, or another scion."), code="no_change")
        return said


class BlanksForm(forms.Form):
    """The places without a plant of one flat, as typed or tapped."""

    blanks = forms.CharField(
        label=gettext_lazy("Empty places"),
        required=False,
        help_text=gettext_lazy(
            "Tap them, or type them: A3 F11. A number alone: so many last places are empty."
        ),
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )

    def __init__(self, *args: Any, flat: Flat, used: list[int], **options: Any) -> None:
        super().__init__(*args, **options)
        self.flat, self.used = flat, used

    def clean_blanks(self) -> list[int]:
        shape = self.flat.tray_format
        try:
            return read_blanks(self.cleaned_data["blanks"], self.used, rows=shape.rows, columns=shape.columns)
        except PlaceError as error:
            raise ValidationError(_place_words(error, len(self.used))) from error


class FinishForm(BlanksForm):
    """``filled`` is "all", or "some" with the blanks; ``known`` the blanks that the page was drawn with."""

    filled = forms.ChoiceField(choices=[("all", "all"), ("some", "some")])
    known = forms.CharField(required=False)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if said.get("known", "").split() != blank_names(self.flat):
            raise ValidationError(
                _("Someone else noted empty places meanwhile. Look at them, then finish."), code="changed"
            )
        if said.get("filled") == "some" and said.get("blanks") == []:
            self.add_error("blanks", _("Tap or type the empty places, or finish with all of them filled."))
        return said

    def places(self) -> list[int]:
        return [] if self.cleaned_data["filled"] == "all" else self.cleaned_data["blanks"]


def blank_names(flat: Flat) -> list[str]:
    """Return the blanks of a flat as they are said, [] where there are none or nobody was asked."""
    return place_names(flat, flat.blank_places or [])


def _place_words(error: PlaceError, used_count: int) -> str:
    words = {
        "form": _("%(said)s is no place: type a row and a column such as A3, parted by spaces."),
        "outside": _("This flat has no place %(said)s."),
        "unused": _("%(said)s is not used in this layout, so it needs no mention."),
        "too_many": _("%(said)s empty places are more than the %(count)s of this flat."),
    }
    return words[error.reason] % {"said": error.said.upper(), "count": used_count}
