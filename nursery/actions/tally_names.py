"""Find or make what the rows of a tally file name: crops, cultivars, pairings, workers, seasons.

Names that differ in capitals only are one name, in the spelling of the book, else of the file's first row.
What is made here is not stored yet.

A rootstock is looked for within the row's crop first, then in all crops (squash under melons); only where
no crop has it, it is made within the row's crop.

A season that nobody has made yet is taken to be the calendar year of its graftings, less what other seasons
hold, if all its rows fall in one calendar year.
"""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Generic, TypeVar

from django.utils.translation import gettext as _

from nursery.models import Crop, Cultivar, Pairing, Season, Worker

_T = TypeVar("_T")


class NameFault(Exception):
    """A name that cannot be settled; ``column`` is where it stands."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column


class Named(Generic[_T]):
    """Things by name: the exact spelling first, then without regard to capitals."""

    def __init__(self, things: Iterable[tuple[str, _T]]) -> None:
        self._exact: dict[str, _T] = {}
        self._folded: dict[str, _T] = {}
        for name, thing in things:
            self.add(name, thing)

    def add(self, name: str, thing: _T) -> None:
        self._exact.setdefault(name, thing)
        self._folded.setdefault(name.casefold(), thing)

    def get(self, name: str) -> _T | None:
        return self._exact.get(name) or self._folded.get(name.casefold())


class NameBook:
    """The names in the book, and those that an import adds."""

    def __init__(self) -> None:
        self.new_crops: list[Crop] = []
        self.new_cultivars: list[Cultivar] = []
        self.new_pairings: list[Pairing] = []
        self.new_workers: list[Worker] = []
        self._crops = Named((crop.name, crop) for crop in Crop.objects.all())
        self._workers = Named((worker.name, worker) for worker in Worker.objects.all())
        self._cultivars: dict[int, Named[Cultivar]] = {}
        self._bearers = Named[list[Cultivar]](())
        for cultivar in Cultivar.objects.select_related("crop"):
            self._add_cultivar(cultivar, self._crops.get(cultivar.crop.name) or cultivar.crop)
        self._by_id = {pairing.pk: pairing for pairing in Pairing.objects.all()}
        self._pairings = {(p.scion_id, p.rootstock_id): p for p in self._by_id.values()}
        self._added_pairings: dict[tuple[int, int], Pairing] = {}

    def worker(self, name: str) -> Worker | None:
        """Return the grafter, None where nobody was named."""
        if not name:
            return None
        worker = self._workers.get(name)
        if worker is None:
            worker = Worker(name=name, is_active=False)
            self._workers.add(name, worker)
            self.new_workers.append(worker)
        return worker

    def pairing(self, crop_name: str, scion_name: str, rootstock_name: str, method: str) -> Pairing:
        crop = self._crop(crop_name)
        scion = self._own_cultivar(crop, scion_name) or self._make(crop, scion_name, Cultivar.Use.SCION)
        rootstock = self._rootstock(crop, rootstock_name)
        self._note_use(scion, Cultivar.Use.SCION)
        self._note_use(rootstock, Cultivar.Use.ROOTSTOCK)
        known = self._pairings.get((scion.pk, rootstock.pk)) if scion.pk and rootstock.pk else None
        known = known or self._added_pairings.get((id(scion), id(rootstock)))
        if known is None:
            known = Pairing(scion=scion, rootstock=rootstock, method=method)
            self._added_pairings[id(scion), id(rootstock)] = known
            self.new_pairings.append(known)
        return known

    def pairing_in_book(self, pk: int) -> Pairing:
        return self._by_id[pk]

    def _crop(self, name: str) -> Crop:
        crop = self._crops.get(name)
        if crop is None:
            crop = Crop(name=name)
            self._crops.add(name, crop)
            self.new_crops.append(crop)
        return crop

    def _rootstock(self, crop: Crop, name: str) -> Cultivar:
        own = self._own_cultivar(crop, name)
        if own is not None:
            return own
        elsewhere = [c for c in self._bearers.get(name) or () if c.use != Cultivar.Use.SCION]
        if len(elsewhere) > 1:
            crops = ", ".join(sorted(cultivar.crop.name for cultivar in elsewhere))
            text = _("“%(name)s” is a rootstock of several crops (%(crops)s). Rename one of them first.")
            raise NameFault("rootstock", text % {"name": name, "crops": crops})
        return elsewhere[0] if elsewhere else self._make(crop, name, Cultivar.Use.ROOTSTOCK)

    def _own_cultivar(self, crop: Crop, name: str) -> Cultivar | None:
        own = self._cultivars.get(id(crop))
        return own.get(name) if own else None

    def _make(self, crop: Crop, name: str, use: str) -> Cultivar:
        cultivar = Cultivar(crop=crop, name=name, use=use)
        self._add_cultivar(cultivar, crop)
        self.new_cultivars.append(cultivar)
        return cultivar

    def _add_cultivar(self, cultivar: Cultivar, crop: Crop) -> None:
        self._cultivars.setdefault(id(crop), Named(())).add(cultivar.name, cultivar)
        bearers = self._bearers.get(cultivar.name)
        if bearers is None:
            self._bearers.add(cultivar.name, [cultivar])
        else:
            bearers.append(cultivar)

    @staticmethod
    def _note_use(cultivar: Cultivar, use: str) -> None:
        """A new cultivar that the file uses on both sides is used as either."""
        if cultivar.pk is None and cultivar.use != use:
            cultivar.use = Cultivar.Use.EITHER


class SeasonBook:
    """The seasons in the book, and those that an import adds."""

    def __init__(self) -> None:
        self.seasons = list(Season.objects.all())
        self.new_seasons: list[Season] = []
        self._named = Named((season.name, season) for season in self.seasons)

    def get(self, name: str) -> Season | None:
        return self._named.get(name)

    def holding(self, day: date) -> Season | None:
        return next((s for s in self.seasons if s.starts_on <= day <= s.ends_on), None)

    def make(self, name: str, days: list[date]) -> Season:
        """Return a new season that holds ``days``; NameFault where that is not clear."""
        first, last = min(days), max(days)
        if first.year != last.year:
            text = _("No season is called “%(name)s”, and its rows fall in more than one calendar year "
                     "(%(first)s to %(last)s). Make it under Records first, with its dates.")  # fmt: skip
            raise NameFault("season", text % {"name": name, "first": first, "last": last})
        starts_on, ends_on = date(first.year, 1, 1), date(first.year, 12, 31)
        for other in self.seasons:
            if other.starts_on <= last and other.ends_on >= first:
                text = _("No season is called “%(name)s”, and “%(other)s” (%(first)s to %(last)s) holds days "
                         "of its rows. Name that one, or change its dates under Records.")  # fmt: skip
                said = {"name": name, "other": other.name, "first": other.starts_on, "last": other.ends_on}
                raise NameFault("season", text % said)
            if starts_on <= other.ends_on < first:
                starts_on = other.ends_on + timedelta(days=1)
            if last < other.starts_on <= ends_on:
                ends_on = other.starts_on - timedelta(days=1)
        season = Season(name=name, starts_on=starts_on, ends_on=ends_on)
        self._named.add(name, season)
        self.seasons.append(season)
        self.new_seasons.append(season)
        return season
