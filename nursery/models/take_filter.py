"""Which grafts a take report looks at: of a season, a crop, a row of any cut, grafted from a day to a day."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet

from nursery.models.bench import Run
from nursery.models.check import DayCount
from nursery.models.flat import Flat
from nursery.models.leaving import GradeCount
from nursery.models.plant import Crop
from nursery.models.season import Season
from nursery.models.take_cuts import COUNTS, CUTS, GRADES, RUNS, Path, RowKey, TakeBy


@dataclass(frozen=True, slots=True)
class TakeFilter:
    """All that is set holds at once. ``rows`` names a row of a cut, days are days of grafting."""

    season: Season | None = None
    crop: Crop | None = None
    rows: Mapping[TakeBy, RowKey] = field(default_factory=dict)
    first_day: date | None = None
    last_day: date | None = None

    def counts(self) -> QuerySet[DayCount]:
        """Return the counts of the grafts looked at."""
        return self._on(DayCount.objects.in_season(self.season), COUNTS)

    def runs(self) -> QuerySet[Run]:
        """Return the runs looked at that are not in hand any more."""
        finished = Run.objects.exclude(finished_at__isnull=True, started_at__isnull=False)
        return self._on(finished.filter(self._of_season(RUNS)), RUNS)

    def grades(self) -> QuerySet[GradeCount]:
        """Return the grades of the grafts looked at."""
        return self._on(GradeCount.objects.filter(self._of_season(GRADES)), GRADES)

    def _on(self, rows: QuerySet[Any], path: Path) -> QuerySet[Any]:
        if self.crop is not None:
            rows = rows.filter(**{path.pairing.removesuffix("_id") + "__scion__crop": self.crop})
        if self.first_day is not None:
            rows = rows.filter(**{path.run + "grafted_on__gte": self.first_day})
        if self.last_day is not None:
            rows = rows.filter(**{path.run + "grafted_on__lte": self.last_day})
        for by, key in self.rows.items():
            rows = rows.filter(CUTS[by].condition(path, key))
        return rows

    def _of_season(self, path: Path) -> Q:
        """A past season's flat is of the season it was brought in for; any other of that of its grafting."""
        if self.season is None:
            return Q()
        days = (self.season.starts_on, self.season.ends_on)
        flat = path.flat.removesuffix("_id") + "__in"
        brought_in = Q(**{flat: Flat.objects.filter(season=self.season).order_by().values("pk")})
        of_any_season = Q(**{flat: Flat.objects.filter(season__isnull=False).order_by().values("pk")})
        # The day is looked at first: few of many seasons' runs are then looked up among the flats.
        return (Q(**{path.run + "grafted_on__range": days}) & ~of_any_season) | brought_in
