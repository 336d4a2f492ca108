"""What took: by pairing or by grafter, and how that is computed."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from nursery import access
from nursery.forms.takes import TakeFilterForm
from nursery.models import Season
from nursery.models.takes import CropTakes, TakeBy, take_report
from nursery.views.takes_example import worked_example


@require_safe
def takes(request: HttpRequest) -> HttpResponse:
    form = TakeFilterForm(request.GET)
    if not form.is_valid():
        raise Http404
    by, season, crop = (form.cleaned_data[name] for name in ("by", "season", "crop"))
    sees_grafters = access.may_see_grafter_rates(request.user)
    if by is TakeBy.GRAFTER and not sees_grafters:
        return render(request, "take/closed.html", status=403)
    report = take_report(by=by, season=season)
    is_own = by is TakeBy.GRAFTER and not request.user.is_grower
    if is_own:
        report = report.limited_to(access.grafters_visible_to(request.user).values_list("pk", flat=True))
    crops = [takes for takes in report.crops if crop is None or takes.crop_key == str(crop.key)]
    context = {
        "report": report,
        "crops": [(takes, axis_low(takes)) for takes in crops],
        "apart": apart(crops),
        "season": season,
        "crop": crop,
        "seasons": Season.objects.all(),
        "by_grafter": by is TakeBy.GRAFTER,
        "sees_grafters": sees_grafters,
        "is_own": is_own,
    }
    return render(request, "take/report.html", context)


@require_safe
def takes_how(request: HttpRequest) -> HttpResponse:
    return render(request, "take/how.html", {"example": worked_example()})


def axis_low(takes: CropTakes) -> float:
    """Return where the axis of a crop begins: at a half if all of its rows lie above, else at none."""
    ends = [row.take_share if row.low is None else row.low for row in takes.rows]
    return 0.5 if ends and min(ends) >= 0.5 else 0.0


def apart(crops: list[CropTakes]) -> dict[str, list[tuple[str, object]]]:
    """Return what is in no take, each row with its crop."""
    lists = ("early", "part_seen", "left_early")
    return {name: [(takes.crop, row) for takes in crops for row in getattr(takes, name)] for name in lists}
