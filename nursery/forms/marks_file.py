"""Read the file of a tablet's waiting marks. One bad part never keeps the others out."""

import json
import math
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.actions.marks_file import MarksFile, Part
from nursery.forms.marks import READERS, VERSION, MalformedPart, instant_of, text_of, uuid_of

KIND = "waiting marks"
MOST_SKEW = timedelta(days=200 * 365)  # beyond it a corrected time could not be stored
MOST_PARTS_HERE = 3000  # a second or so of work; more of it would keep the taps of others waiting
LARGEST_MB = settings.FILE_UPLOAD_MAX_MEMORY_SIZE // 1024**2


class MalformedFile(ValueError):
    """The file cannot be read; nothing of it was taken in. The message says what is wrong, and where."""


def read_marks_file(content: bytes, *, now: datetime) -> MarksFile:
    """Return the waiting marks in ``content``; MalformedFile names what is wrong with it as a whole."""
    data = _envelope(content)
    entries = data.get("parts")
    if not isinstance(entries, list):
        raise MalformedFile(_("parts must be a list."))
    try:
        device, account = uuid_of(data, "device"), text_of(data, "account", 150, default="")
        skew = _skew(data, now)
    except MalformedPart as error:
        raise MalformedFile(f"{error}.") from error
    parts: list[Part] = []
    refused: dict[str, str] = {}
    for index, entry in enumerate(entries):
        try:
            parts.append(_part(entry))
        except MalformedPart as error:
            refused[f"parts[{index}]"] = str(error)
    return MarksFile(device, skew, account, parts, refused)


def _envelope(content: bytes) -> dict[str, Any]:
    try:
        data = json.loads(content)
    except json.JSONDecodeError as error:
        said = {"line": error.lineno, "column": error.colno, "fault": error.msg}
        text = _("Line %(line)d, column %(column)d is no JSON (%(fault)s). Was the file cut short?")
        raise MalformedFile(text % said) from error
    except UnicodeDecodeError as error:
        raise MalformedFile(_("Byte %d is no text in UTF-8.") % (error.start + 1)) from error
    except (ValueError, RecursionError) as error:
        raise MalformedFile(_("The file is no JSON that can be read.")) from error
    if not isinstance(data, dict) or data.get("takebook") != KIND:
        raise MalformedFile(_("This is no file of a tablet's waiting marks: takebook must be “%s”.") % KIND)
    if data.get("v") != VERSION or isinstance(data["v"], bool):
        raise MalformedFile(
            _("v must be %d: the file was written by another version of the program.") % VERSION
        )
    return data


def _skew(data: dict[str, Any], now: datetime) -> timedelta:
    """Return what the tablet's clock was behind ours when they last met."""
    exported_at = instant_of(data, "exported_at")
    skew_ms = data.get("skew_ms")
    if skew_ms is None:
        # They never met. All that is known is that the file was not written after now.
        return min(timedelta(), now - exported_at)
    is_number = isinstance(skew_ms, int | float) and not isinstance(skew_ms, bool)
    if not is_number or not math.isfinite(skew_ms) or abs(skew_ms) > MOST_SKEW / timedelta(milliseconds=1):
        raise MalformedPart("skew_ms must be a number of milliseconds, or null")
    return timedelta(milliseconds=skew_ms)


def _part(entry: Any) -> Part:
    noun = entry.get("noun") if isinstance(entry, dict) else None
    if not isinstance(noun, str) or noun not in READERS:
        raise MalformedPart(f"noun must be one of {', '.join(READERS)}")
    part = entry.get("part")
    if not isinstance(part, dict):
        raise MalformedPart("part must be an object")
    return READERS[noun](part, None)


class MarksFileForm(forms.Form):
    """A tablet's file, chosen in the browser."""

    file = forms.FileField(
        label=gettext_lazy("File of waiting marks"),
        help_text=gettext_lazy("The one that the tablet wrote, with a name that ends in .json."),
        widget=forms.FileInput(attrs={"accept": ".json,application/json"}),
        allow_empty_file=True,
        error_messages={
            "required": gettext_lazy(
                "Choose a file of at most %d MB. A larger one is taken in with manage.py import_marks."
            )
            % LARGEST_MB
        },
    )

    def clean_file(self) -> MarksFile:
        try:
            file = read_marks_file(self.cleaned_data["file"].read(), now=timezone.now())
        except MalformedFile as error:
            raise ValidationError(_("Nothing was stored. %s") % error) from error
        if len(file.parts) > MOST_PARTS_HERE:
            said = {"parts": len(file.parts), "most": MOST_PARTS_HERE}
            text = _(
                "The file holds %(parts)d parts; more than %(most)d are taken in with manage.py import_marks."
            )
            raise ValidationError(text % said)
        return file
