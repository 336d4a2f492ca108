"""A table of past seasons: the file, and what to do with it."""

from typing import Any

from django import forms
from django.core import signing
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from nursery.models import Season

# While rows are stored nobody else can write on SQLite: about a second for the most that a page takes.
MOST_ROWS = 2_000
LARGEST_BYTES = 500 * MOST_ROWS
_SALT = "tally-import"


class TallyFileForm(forms.Form):
    file = forms.FileField(
        label=_("Table (CSV)"),
        help_text=_("Saved from a spreadsheet as “CSV UTF-8”."),
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,text/csv"}),
        allow_empty_file=True,
        error_messages={
            "required": _(
                "Choose a table of at most 2 MB. A larger one is imported with manage.py import_tallies."
            )
        },
    )
    season = forms.CharField(
        label=_("Season of rows that name none"),
        required=False,
        max_length=Season._meta.get_field("name").max_length,
        help_text=_("Left empty, each of them falls into the season that holds its day of grafting."),
    )
    replaces = forms.BooleanField(
        label=_("Let other counts of the same rows replace those in the book"),
        required=False,
        help_text=_("The old counts are kept, marked as replaced."),
    )

    def clean_file(self) -> bytes:
        upload = self.cleaned_data["file"]
        content = upload.read(LARGEST_BYTES + 1)
        if len(content) > LARGEST_BYTES or content.count(b"\n") > MOST_ROWS + 1:
            text = _(
                "The table has more than %d rows. Divide it, or import it with manage.py import_tallies."
            )
            raise ValidationError(text % MOST_ROWS)
        return content

    def pack(self) -> str:
        """Return what was sent, so that a form can carry it to the next request."""
        return signing.dumps(
            [
                self.cleaned_data["file"].hex(),
                self.cleaned_data["season"],
                self.cleaned_data["replaces"],
            ],
            salt=_SALT,
            compress=True,
        )


class PackedTalliesForm(forms.Form):
    """The table that was looked at, coming back to be stored."""

    packed = forms.CharField(widget=forms.HiddenInput)

    def clean_packed(self) -> dict[str, Any]:
        try:
            content, season, replaces = signing.loads(self.cleaned_data["packed"], salt=_SALT)
        except signing.BadSignature as error:
            raise ValidationError(_("Choose the file again: the page was out of date.")) from error
        return {"content": bytes.fromhex(content), "season": season, "replaces": replaces}
