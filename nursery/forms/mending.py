"""Forms of mending: what is put right and why, a check's other flat, what a lost flat looks like."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.formats import date_format
from django.utils.html import escape
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from nursery.actions.corrections import earlier_checks, sessions_near
from nursery.actions.run_values import session_name
from nursery.calc.codes import spoken
from nursery.forms.bench import NOT_RECORDED, KeyField, SowingsField
from nursery.models import (
    Method,
    Pairing,
    Place,
    Run,
    RunSowing,
    Session,
    Sowing,
    TrayFormat,
    Worker,
)

SOWINGS_OFFERED = 12
STAYS = gettext_lazy("Stays as it is")
WHAT = {
    "worker": gettext_lazy("Grafter"),
    "second_worker": gettext_lazy("Together with"),
    "rootstock_sowings": gettext_lazy("Lot of the rootstock"),
    "scion_sowings": gettext_lazy("Lot of the scion"),
    "pairing": gettext_lazy("Scion on rootstock"),
    "method": gettext_lazy("Method"),
    "grafted_on": gettext_lazy("Day grafted"),
    "session": gettext_lazy("Session"),
    "cut": gettext_lazy("Cut"),
    "roots": gettext_lazy("Roots"),
    "clip": gettext_lazy("Clip or tube"),
    "rested_hours": gettext_lazy("Hours rested cool and dim"),
    "scion_cut_by": gettext_lazy("Scions cut by"),
    "rootstock_cut_by": gettext_lazy("Rootstocks cut by"),
}
CHOICES = {"method": Method.choices, "cut": Run.Cut.choices, "roots": Run.Roots.choices}
PEOPLE = ("worker", "second_worker", "scion_cut_by", "rootstock_cut_by")
SIDES = {"scion_sowings": RunSowing.Side.SCION, "rootstock_sowings": RunSowing.Side.ROOTSTOCK}


class SessionField(KeyField):
    def label_from_instance(self, session: Session) -> str:
        return session_name(session)


class ReasonField(forms.CharField):
    """Why: a few words, kept with the change."""

    def __init__(self, **options: Any) -> None:
        help_text = gettext_lazy("A few words, kept with the change.")
        super().__init__(
            **{"label": gettext_lazy("Why"), "max_length": 200, "help_text": help_text, **options}
        )


class CorrectionForm(forms.Form):
    """Only the fields that shall change, each with what stands there now.

    A field that was left as it stood changes nothing; where runs differ it starts empty, and empty means
    that each stays as it is.
    """

    def __init__(self, *args: Any, runs: Sequence[Run], what: Iterable[str], **options: Any) -> None:
        super().__init__(*args, **options)
        self.runs = runs
        sides = _sowings_by_side(runs)
        for name in (name for name in WHAT if name in set(what)):
            values = [sides[run.pk, name] if name in SIDES else getattr(run, name) for run in runs]
            self.fields[name] = self._field(name, values)
        if self.data.get("odd") == "shown":
            self._ask_for_the_day()
        self.fields["reason"] = ReasonField()

    def _field(self, name: str, values: list[Any]) -> forms.Field:
        is_same = all(value == values[0] for value in values)
        field = _field_for(name, self.runs, is_same=is_same)
        field.label = WHAT[name]
        field.help_text = escape(_("Now: %s") % _now(name, values))  # names; the help is shown unescaped
        if is_same:
            field.initial = _initial(name, values[0])
        return field

    def _ask_for_the_day(self) -> None:
        label = gettext_lazy("The day is right all the same")
        self.fields["day_is_right"] = forms.BooleanField(label=label, required=False)
        self.fields["odd"] = forms.CharField(widget=forms.HiddenInput, initial="shown", required=False)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        day = said.get("grafted_on")
        if day and "grafted_on" in self.changed_data and not said.get("day_is_right"):
            odd = earlier_checks(self.runs, day)
            if odd:
                self.data = self.data.copy()
                self.data["odd"] = "shown"
                self._ask_for_the_day()
                self.add_error("grafted_on", _odd_words(odd))
        return said

    def changes(self) -> dict[str, Any]:
        """Return the values that shall change, by field."""
        wanted = {}
        for name in self.changed_data:
            value = self.cleaned_data.get(name)
            if name in WHAT and not (value in (None, "") and self.fields[name].initial is None):
                wanted[name] = tuple(value) if name in SIDES else value
        return wanted


def _odd_words(checks: Sequence[Any]) -> str:
    first = checks[0]
    text = ngettext(
        "%(flat)s was checked on %(day)s, before that day. Choose another day, or say that it is right.",
        "%(count)d checks lie before that day, the first of %(flat)s on %(day)s. "
        "Choose another day, or say that it is right.",
        len(checks),
    )
    said = {"count": len(checks), "flat": spoken(first.flat.code), "day": date_format(first.day, "j F Y")}
    return text % said


def _field_for(name: str, runs: Sequence[Run], *, is_same: bool) -> forms.Field:
    if name in PEOPLE:
        empty = NOT_RECORDED if is_same else STAYS
        return KeyField(Worker.objects.all(), required=False, empty_label=empty)
    if name in SIDES:
        return SowingsField(_sowings_offered(name, runs), required=False, to_field_name="code")
    if name == "pairing":
        return KeyField(Pairing.objects.named(), required=is_same, empty_label=None if is_same else STAYS)
    if name == "session":
        near = Session.objects.filter(pk__in=[session.pk for session in sessions_near(runs)])
        rows = near.select_related("place").order_by("-started_at")
        return SessionField(rows, required=False, empty_label=NOT_RECORDED if is_same else STAYS)
    if name == "grafted_on":
        return forms.DateField(
            required=is_same, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        )
    if name in CHOICES:
        stays = [] if is_same else [("", STAYS)]
        return forms.ChoiceField(choices=[*stays, *CHOICES[name]], required=is_same)
    if name == "rested_hours":
        return forms.DecimalField(required=False, min_value=0, max_digits=4, decimal_places=1)
    return forms.CharField(required=False, max_length=40)


def _sowings_by_side(runs: Sequence[Run]) -> dict[tuple[int, str], frozenset[Sowing]]:
    rows = RunSowing.objects.filter(run__in=runs).select_related("sowing__lot__cultivar")
    found: dict[tuple[int, str], set[Sowing]] = {}
    for row in rows:
        name = next(name for name, side in SIDES.items() if side == row.side)
        found.setdefault((row.run_id, name), set()).add(row.sowing)
    return {(run.pk, name): frozenset(found.get((run.pk, name), ())) for run in runs for name in SIDES}


def _sowings_offered(name: str, runs: Sequence[Run]) -> Any:
    """Return the newest sowings of the cultivars on that side, and those that stand there now."""
    side = SIDES[name]
    cultivars = {getattr(run.pairing, f"{side.value}_id") for run in runs}
    last = max(run.grafted_on for run in runs)  # what was sown later cannot have been grafted
    sown = Sowing.objects.filter(lot__cultivar__in=cultivars, sown_on__lte=last)
    newest = sown.order_by("-sown_on", "-pk")
    shown = list(newest.values_list("pk", flat=True)[:SOWINGS_OFFERED])
    shown += RunSowing.objects.filter(run__in=runs, side=side).values_list("sowing", flat=True)
    return Sowing.objects.named().filter(pk__in=shown)


def _initial(name: str, value: Any) -> Any:
    if name in SIDES:
        return sorted(sowing.code for sowing in value)
    if value is None:
        return "" if name in (*PEOPLE, "session") else None
    return getattr(value, "key", value)


def _now(name: str, values: list[Any]) -> str:
    """Say what stands there now, each value once, the most frequent first."""
    counted = Counter(said_value(name, value) for value in values)
    if len(counted) == 1:
        return next(iter(counted))
    return ", ".join(f"{said} ({count})" for said, count in counted.most_common(6))


def said_value(name: str, value: Any) -> str:
    """Say the value of a field of a run."""
    if value in (None, "", frozenset()) or value == "unknown":
        return str(NOT_RECORDED)
    if name in SIDES:
        return ", ".join(sorted(f"{sowing.lot}, {spoken(sowing.code)}" for sowing in value))
    if name in CHOICES:
        return str(dict(CHOICES[name])[value])
    if name == "session":
        return session_name(value)
    return date_format(value, "j F Y") if name == "grafted_on" else str(value)


class OtherFlatForm(forms.Form):
    """Which flat was really looked at."""

    code = forms.CharField(
        label=gettext_lazy("Code of the flat that was looked at"),
        max_length=200,
        help_text=gettext_lazy("Scan its label, or type the code."),
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )


class ReasonForm(forms.Form):
    reason = ReasonField()


class FreeReasonForm(forms.Form):
    reason = ReasonField(required=False)


class LostFlatForm(forms.Form):
    """What is known of a flat without a label; all of it may be left out."""

    place = forms.ModelChoiceField(
        Place.objects.all(),
        label=gettext_lazy("Where it stands"),
        required=False,
        to_field_name="code",
        empty_label=gettext_lazy("Anywhere"),
    )
    pairing = KeyField(
        Pairing.objects.named(),
        label=gettext_lazy("Scion on rootstock"),
        required=False,
        empty_label=gettext_lazy("Any"),
    )
    since = forms.DateField(
        label=gettext_lazy("Grafted from"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    until = forms.DateField(
        label=gettext_lazy("Grafted until"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    shape = KeyField(
        TrayFormat.objects.all(),
        label=gettext_lazy("Format"),
        required=False,
        empty_label=gettext_lazy("Any"),
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        since, until = said.get("since"), said.get("until")
        if since and until and until < since:
            raise ValidationError({"until": _("This lies before the first day: exchange them.")})
        return said
