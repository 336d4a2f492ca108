"""What took, by any cut and under any filter of the address, and how that is computed."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from nursery import access
from nursery.forms.takes import TakeFilterForm
from nursery.models import Account, Crop, Pairing, Season
from nursery.models.take_cuts import RowKey
from nursery.models.take_rows import read_names, row_name
from nursery.models.takes import CropTakes, TakeBy, TakeReport, take_report
from nursery.views.exported import table_answer
from nursery.views.take_words import CUT_WORDS, NOTES
from nursery.views.takes_example import worked_example


@dataclass(frozen=True, slots=True)
class Pill:
    """A choice of the address: what it says and where it leads."""

    label: str
    url: str
    is_current: bool = False


@require_safe
def takes(request: HttpRequest) -> HttpResponse:
    form = TakeFilterForm(request.GET)
    if not form.is_valid():
        return _unknown(request, form)
    by, asked = form.cleaned_data["by"], request.GET
    if not _may_ask(request.user, by, form.rows.get(TakeBy.GRAFTER)):
        return render(request, "take/closed.html", status=403)
    report = take_report(by=by, only=form.only())
    is_own = by is TakeBy.GRAFTER and not request.user.is_grower
    if is_own:
        report = report.limited_to(access.grafters_visible_to(request.user).values_list("pk", flat=True))
    if asked.get("format"):
        return table_answer(asked["format"], _("takes by %s") % CUT_WORDS[by].pill, *table_of(report))
    filters = _filter_pills(asked, form)
    context = {
        "words": CUT_WORDS[by],
        "note": NOTES.get(by, ""),
        "crops": [(takes, axis_low(takes)) for takes in report.crops],
        "apart": apart(list(report.crops)),
        "cuts": _cut_pills(asked, by, sees_grafters=access.may_see_grafter_rates(request.user)),
        "filters": filters,
        "crop_choices": Crop.objects.all(),
        "seasons": _season_pills(asked, form.cleaned_data["season"]),
        "is_filtered": bool(filters or form.cleaned_data["season"]),
        "onward": _address(asked, **{by.value: None, "by": CUT_WORDS[by].onward.value}),
        "by": by.value,
        "heads": _pill_of_heads(asked, form.cleaned_data["heads"], report),
        "downloads": [
            Pill(_("As CSV"), _address(asked, format="csv")),
            Pill(_("As XLSX"), _address(asked, format="xlsx")),
        ],
        "by_grafter": by is TakeBy.GRAFTER,
        "is_own": is_own,
    }
    return render(request, "take/report.html", context)


@require_safe
def takes_how(request: HttpRequest) -> HttpResponse:
    return render(request, "take/how.html", {"example": worked_example()})


def _unknown(request: HttpRequest, form: TakeFilterForm) -> HttpResponse:
    """Say which parts of the address the book does not know, and lead to the report without them."""
    wrong = [(form.said(name), errors) for name, errors in form.errors.items()]
    without = _address(request.GET, **dict.fromkeys(form.errors))
    return render(request, "take/unknown.html", {"wrong": wrong, "without": without}, status=404)


def _may_ask(user: Account, by: TakeBy, grafter: RowKey | None) -> bool:
    """Whether rates by grafter may be asked for: anybody's by growers, one's own by a worker."""
    if by is TakeBy.GRAFTER and not access.may_see_grafter_rates(user):
        return False
    if grafter is None or user.is_grower:
        return True
    own = {(pk,) for pk in access.grafters_visible_to(user).values_list("pk", flat=True)}
    return grafter in own


def _address(asked: QueryDict, **changed: str | None) -> str:
    """Return the address asked for with some of it changed; None leaves a part out."""
    query = asked.copy()
    for name, value in changed.items():
        if value is None:
            query.pop(name, None)
        else:
            query[name] = value
    return f"?{query.urlencode()}"


def _cut_pills(asked: QueryDict, by: TakeBy, *, sees_grafters: bool) -> list[Pill]:
    return [
        Pill(str(words.pill), _address(asked, by=cut.value, format=None), cut is by)
        for cut, words in CUT_WORDS.items()
        if cut is not TakeBy.GRAFTER or sees_grafters
    ]


def _season_pills(asked: QueryDict, season: Season | None) -> list[Pill]:
    seasons = list(Season.objects.all())
    if not seasons:
        return []
    every = Pill(_("All seasons"), _address(asked, season=None), season is None)
    return [every, *(Pill(s.name, _address(asked, season=str(s.key)), s == season) for s in seasons)]


def _filter_pills(asked: QueryDict, form: TakeFilterForm) -> list[Pill]:
    """Return what the report keeps to; each leads to the report without it."""
    pills = []
    if form.cleaned_data["crop"]:
        pills.append(Pill(str(form.cleaned_data["crop"]), _address(asked, crop=None)))
    for by, key in form.rows.items():
        if by is TakeBy.PAIRING:
            name = str(Pairing.objects.named().get(pk=key[0]))
        else:
            name = row_name(key, read_names(by))
        pills.append(Pill(f"{CUT_WORDS[by].pill}: {name}", _address(asked, **{by.value: None})))
    for field, words in (("first_day", _("from %s")), ("last_day", _("until %s"))):
        if form.cleaned_data[field]:
            day = date_format(form.cleaned_data[field])
            pills.append(Pill(words % day, _address(asked, **{field: None})))
    return pills


def _pill_of_heads(asked: QueryDict, is_on: bool, report: TakeReport) -> Pill | None:
    """Return the switch that shows heads, where any plant was graded."""
    if not any(row.graded for crop in report.crops for row in crop.rows):
        return None
    return Pill(_("Heads per plant"), _address(asked, heads=None if is_on else "on"), is_on)


def axis_low(takes: CropTakes) -> float:
    """Return where the axis of a crop begins: at a half if all of its rows lie above, else at none."""
    ends = [row.take_share if row.low is None else row.low for row in takes.rows]
    return 0.5 if ends and min(ends) >= 0.5 else 0.0


def apart(crops: list[CropTakes]) -> dict[str, list[tuple[str, object]]]:
    """Return what is in no take, each row with its crop."""
    lists = ("early", "part_seen", "left_early")
    return {name: [(takes.crop, row) for takes in crops for row in getattr(takes, name)] for name in lists}


def table_of(report: TakeReport) -> tuple[list[str], list[list[Any]]]:
    """Return the report as a table: a header, and a row for each compared row and each early count."""
    header = [
        "crop", "name", "counted", "day", "flats", "flats_grafted", "runs", "grafted", "alive", "wilting",
        "take_share", "low", "high", "graded", "saleable", "heads",
    ]  # fmt: skip
    rows: list[list[Any]] = []
    for crop in report.crops:
        for row in crop.rows:
            rows.append([
                crop.crop, row.name, "record", None, row.flats, row.flats_grafted, row.runs,
                row.grafted, row.alive, row.wilting, row.take_share, row.low, row.high,
                row.graded, row.saleable, row.heads,
            ])  # fmt: skip
        for early in crop.early:
            rows.append([
                crop.crop, early.name, "early", early.day, early.flats, None, early.runs, early.grafted,
                early.alive, early.wilting, None, None, None, None, None, None,
            ])  # fmt: skip
    return header, rows
