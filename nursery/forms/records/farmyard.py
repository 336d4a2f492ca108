"""Workers, places, seasons."""

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from nursery.forms.records.base import RecordForm
from nursery.models import Place, Season, Worker


class WorkerForm(RecordForm):
    model = Worker
    front = ("name", "account", "is_active")
    folded = ("started_on", "note")
    help_texts = {
        "account": _("Somebody with a login of their own sees their own rates. A shared tablet is nobody's."),
        "is_active": _("Only these are offered at the bench."),
    }

    def prepare(self) -> None:
        accounts = self.fields["account"]
        accounts.queryset = accounts.queryset.filter(
            Q(is_shared=False, worker=None) | Q(pk=self.record.account_id)
        )


class PlaceForm(RecordForm):
    model = Place
    front = ("name", "kind", "stands_in")
    folded = ("capacity_flats", "walk_order", "note")
    help_texts = {
        "stands_in": _("For example the room that a bench stands in."),
        "walk_order": _(
            "A round goes through the places by this number, the lowest first. What stands in a place comes "
            "directly after it, by its own number; places of one number go by their name."
        ),
    }

    def prepare(self) -> None:
        inside = self.fields["stands_in"]
        inside.queryset = inside.queryset.exclude(pk=self.record.pk)
        self.fields["walk_order"].required = False

    def clean_walk_order(self) -> int:
        return self.cleaned_data["walk_order"] or 0


class SeasonForm(RecordForm):
    model = Season
    front = ("name", "starts_on", "ends_on")
    help_texts = {"ends_on": _("Seasons do not overlap: a grafting day belongs to one season at most.")}
