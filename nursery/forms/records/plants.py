"""Crops, cultivars, pairings."""

from django import forms
from django.db.models import Q
from django.utils.html import format_html
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from nursery.forms.records.base import RecordForm
from nursery.models import Crop, Cultivar, Method, Pairing


class CropForm(RecordForm):
    model = Crop
    front = ("name", "method", "method_origin")
    folded = ("botanical_name",)
    help_texts = {
        "method": _("A starting value: new pairings of this crop begin with it."),
        "method_origin": _("A source, or “common practice, no source”. It is shown beside the method."),
    }


class CultivarForm(RecordForm):
    model = Cultivar
    front = ("crop", "name", "use")
    folded = ("breeder", "note")


class PairingForm(RecordForm):
    model = Pairing
    front = ("scion", "rootstock", "method")
    folded = ("sow_offset_days", "record_days")
    help_texts = {
        "sow_offset_days": _(
            "How many days after the rootstock the scion is sown; below zero, the scion goes first. "
            "Growers differ; tomato splice: rootstock about 3 days before scion "
            "(Univ. of Connecticut Extension)."
        ),
        "record_days": _(
            "Days after grafting (tongue approach: after severing) on which the take is final. "
            "Starting value: Washington State University Extension FS051E, "
            "union healed 14 days after grafting."
        ),
    }

    def prepare(self) -> None:
        self._keep_to("scion", Cultivar.Use.SCION)
        self._keep_to("rootstock", Cultivar.Use.ROOTSTOCK)
        if self.record.pk is None:
            self._offer_usual_method()

    def _keep_to(self, side: str, use: str) -> None:
        """Offer the cultivars of this use, and the one chosen before whatever its use is now."""
        fits = Q(use__in=[use, Cultivar.Use.EITHER]) | Q(pk=getattr(self.record, f"{side}_id"))
        self.fields[side].queryset = self.fields[side].queryset.filter(fits)

    def _offer_usual_method(self) -> None:
        """Let a new pairing take the method of the scion's crop, and say what that is and where from."""
        usual = "; ".join(_usual_methods())
        self.initial["method"] = self.given.get("method", "")
        self.fields["method"] = forms.ChoiceField(
            label=_("Usual method"),
            required=False,
            choices=[("", _("As usual for the scion's crop")), *Method.choices],
            help_text=format_html(gettext("Starting values: {}"), usual) if usual else "",
        )


def _usual_methods() -> list[str]:
    """Say which crops have which usual method, and where that comes from."""
    crops: dict[tuple[str, str], list[str]] = {}
    for crop in Crop.objects.exclude(method=""):
        origin = crop.method_origin or gettext("no source given")
        crops.setdefault((crop.get_method_display(), origin), []).append(crop.name)
    return [f"{method}: {', '.join(names)} ({origin})" for (method, origin), names in crops.items()]
