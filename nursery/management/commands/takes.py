"""Print what of the grafts took, by any cut, as a table or as JSON."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from nursery.models import Season
from nursery.models.takes import CropTakes, TakeBy, TakeFilter, TakeReport, TakeRow, take_report


class Command(BaseCommand):
    help = "Print takes by a cut: counts, share and its range, what is saleable. Only records are counted."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--by", choices=[by.value for by in TakeBy], required=True)
        parser.add_argument("--season", metavar="NAME", help="one season; all of them if not given")
        parser.add_argument("--format", choices=["json", "text"], default="text")

    def handle(self, *args: Any, **options: Any) -> None:
        season = season_called(options["season"]) if options["season"] is not None else None
        report = take_report(by=TakeBy(options["by"]), only=TakeFilter(season=season))
        if options["format"] == "json":
            self.stdout.write(json.dumps(report.as_dict(), ensure_ascii=False, indent=2, allow_nan=False))
        else:
            self.stdout.write("\n".join(text_lines(report)))


def season_called(name: str) -> Season:
    season = Season.objects.filter(name=name).first()
    if season is None:
        names = ", ".join(Season.objects.values_list("name", flat=True)) or "none"
        raise CommandError(f"No season is called {name!r}. Seasons in the book: {names}.")
    return season


def text_lines(report: TakeReport) -> list[str]:
    if not report.crops:
        return ["Nothing has been counted yet."]
    return [line for crop in report.crops for line in _crop_lines(crop)]


def _crop_lines(crop: CropTakes) -> list[str]:
    lines = [crop.crop, *(_row_line(row) for row in crop.rows)]
    if crop.rows:
        lines.append(_spread_line(crop))
    lines += [
        f"  early count, day {row.day}: {row.name}: {row.alive} of {row.grafted} alive" for row in crop.early
    ]
    lines += [f"  day {row.day}: {row.name}: {row.seen} of {row.grafted} seen" for row in crop.part_seen]
    for left in crop.left_early:
        if left.early:
            lines.append(f"  left before day 7, not counted: {left.name}: {left.early}")
        lines += [
            f"  counted when they left, on day {day}: {left.name}: {plants}" for day, plants in left.counted
        ]
    return lines


def _row_line(row: TakeRow) -> str:
    told = f"({_flats(row)}, {row.wilting} wilting)"
    counts = f"  {row.name}: {row.alive} of {row.grafted} took, {row.take_share:.1%}"
    if row.low is None or row.high is None:
        line = f"{counts}; range: cannot tell yet {told}"
    else:
        line = f"{counts}; likely {row.low:.1%} to {row.high:.1%} {told}"
    if row.saleable_share is None:
        return line
    return f"{line}; saleable {row.saleable} of {row.graded} graded, {row.saleable_share:.1%}"


def _flats(row: TakeRow) -> str:
    """Say how many flats were counted, of how many grafted where that is not all."""
    if row.flats != row.flats_grafted:
        return f"{row.flats} of {row.flats_grafted} flats"
    return "1 flat" if row.flats == 1 else f"{row.flats} flats"


def _spread_line(crop: CropTakes) -> str:
    if crop.dispersion is None:
        return "  spread between flats: cannot tell, one flat says nothing about the next"
    return f"  spread between flats: {crop.dispersion:.4f} times chance, {crop.df} degrees of freedom"
