"""A table of past seasons: the file, and what to do with it."""

from typing import Any

from django import forms
from django.conf import settings
from django.core import signing
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from nursery.models import Season

MOST_ROWS = 50_000
LARGEST_BYTES = settings.FILE_UPLOAD_MAX_MEMORY_SIZE
LARGEST_MB = LARGEST_BYTES // 1024**2
_SALT = "tally-import"


class TallyFileForm(forms.Form):
    file = forms.FileField(
        label=_("Table (CSV or XLSX)"),
        help_text=_("A workbook's first sheet, or a table saved as “CSV UTF-8”."),
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx,text/csv"}),
        allow_empty_file=True,
        error_messages={
            "required": _(
                "Choose a table of at most %d MB. A larger one is imported with manage.py import_tallies."
            )
            % LARGEST_MB
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
        content = self.cleaned_data["file"].read()
        if content.count(b"\n") > MOST_ROWS + 1 and not content.startswith(b"PK"):
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
