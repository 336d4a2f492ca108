"""The door for scripts: the sheets of flats out, so that a tablet can check them on its own."""

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified, JsonResponse
from django.utils import timezone
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.codes import code_words
from nursery.calc.codes import FLAT, CodeError, kind_of, read_code
from nursery.forms.marks import VERSION
from nursery.views.api_door import api_door
from nursery.views.api_trouble import refusal
from nursery.views.sheet_of_flat import heads_of, sheets_from

MOST_FLATS = 50


@require_safe
@api_door()
def api_flats(request: HttpRequest) -> HttpResponse:
    """Answer with the sheets of the flats whose codes are asked for; say what is wrong with the others."""
    asked = list(dict.fromkeys(request.GET.getlist("code")))
    if len(asked) > MOST_FLATS:
        said = {"asked": len(asked), "most": MOST_FLATS}
        return refusal("malformed", _("%(asked)d flats were asked for; ask for at most %(most)d.") % said)
    codes, missing = _read(asked)
    flats = access.flats_found_for_work(request.user, codes.values())
    sheets = sheets_from(heads_of(list(flats.values()), today=timezone.localdate()))
    missing |= _missing(request, {text: code for text, code in codes.items() if code not in flats})
    return _answer(sheets, missing, "no-store")


@require_safe
@api_door()
def api_flat(request: HttpRequest, code: str) -> HttpResponse:
    """Answer with the sheet of one flat, or that it is still the one the script has (304)."""
    codes, missing = _read([code])
    flats = access.flats_found_for_work(request.user, codes.values())
    if not flats:
        missing |= _missing(request, codes)
        return _answer([], missing, "no-store", status=404)
    goes_on = request.GET.get("goes_on", "")
    heads = heads_of(list(flats.values()), today=timezone.localdate(), goes_on=goes_on)
    etag = f'"{heads[0].tag}"'
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        answer: HttpResponse = HttpResponseNotModified()
    else:
        answer = _answer(sheets_from(heads), {}, "no-cache")
    answer.headers["ETag"] = etag
    answer.headers["Cache-Control"] = "no-cache"
    return answer


def _read(asked: Sequence[str]) -> tuple[dict[str, str], dict[str, str]]:
    """Return the codes that were asked for as they are written, and what is wrong with the others."""
    codes, wrong = {}, {}
    for text in asked:
        try:
            code = read_code(text)
        except CodeError as error:
            wrong[text] = code_words(error)
            continue
        if kind_of(code) == FLAT:
            codes[text] = code
        else:
            wrong[text] = _("This is no flat.")
    return codes, wrong


def _missing(request: HttpRequest, codes: dict[str, str]) -> dict[str, str]:
    """Say of each code why there is no sheet for it."""
    if not codes:
        return {}
    printed, past = access.printed_ahead(codes.values()), access.tallies_among(request.user, codes.values())
    missing = {}
    for text, code in codes.items():
        if code in printed:
            missing[text] = _("This label was printed ahead; nothing bears it yet.")
        elif code in past:
            missing[text] = _("These are counts of a past season: there is nothing to check.")
        else:
            missing[text] = _("No flat bears this code.")
    return missing


def _answer(
    sheets: Sequence[dict[str, Any]], missing: dict[str, str], cache: str, *, status: int = 200
) -> JsonResponse:
    said = {
        "v": VERSION,
        "server_time": timezone.now().isoformat(timespec="milliseconds"),
        "flats": sheets,
        "missing": missing,
    }
    answer = JsonResponse(said, status=status, json_dumps_params={"separators": (",", ":")})
    answer.headers["Cache-Control"] = cache
    return answer
