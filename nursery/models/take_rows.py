"""What a row of the take report is about, what it is called, and the key that stands for it in an address."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from nursery.models.bench import Run, Session
from nursery.models.people import Worker
from nursery.models.place import Place
from nursery.models.plant import Method, Pairing, SeedLot, pairing_name
from nursery.models.take_cuts import CUTS, MIXED, NOT_RECORDED, Path, RowKey, TakeBy

_T = TypeVar("_T")
NOT_RECORDED_SAID, MIXED_SAID, PAIR_SIGN = "none", "mixed", "+"


@dataclass(frozen=True, slots=True)
class Called:
    """The name of one thing that a row is about, and its public key."""

    name: str
    public: str


class RowNames:
    """Names of the rows of a cut and of the crops, read once."""

    def __init__(self, by: TakeBy) -> None:
        self.by = by
        self._cut = CUTS[by]
        self._crops: dict[int, Called] = {}
        self._crop_of: dict[int, int] = {}
        pairings = self._read_pairings()
        self._called: dict[Any, Called] = pairings if by is TakeBy.PAIRING else read_names(by)

    def parts(self, path: Path) -> list[Any]:
        """The columns of a count that say to which row it belongs."""
        parts = self._cut.parts(path)
        if self.by is TakeBy.PAIRING:
            return parts
        return [F(path.pairing.removesuffix("_id") + "__scion__crop_id"), *parts]

    def row(self, *values: Any) -> tuple[int, RowKey]:
        """Return crop and row of a count by its ``parts``."""
        if self.by is TakeBy.PAIRING:
            return self._crop_of[values[0]], (values[0],)
        return values[0], self._cut.key(values[1:])

    def name(self, key: RowKey) -> str:
        return row_name(key, self._called)

    def public(self, key: RowKey) -> str:
        """Return what stands for the row in an address."""
        if key == NOT_RECORDED:
            return NOT_RECORDED_SAID
        if key == MIXED:
            return MIXED_SAID
        return PAIR_SIGN.join(self._called[part].public for part in key)

    def crop_name(self, crop: int) -> str:
        return self._crops[crop].name

    def crop_key(self, crop: int) -> str:
        return self._crops[crop].public

    def in_order(self, rows: Mapping[tuple[RowKey, int], _T]) -> list[tuple[tuple[RowKey, int], _T]]:
        """Sort rows of a name and a day."""
        return sorted(rows.items(), key=lambda row: (self.name(row[0][0]), row[0][1]))

    def _read_pairings(self) -> dict[Any, Called]:
        names: dict[tuple[int, str], list[tuple[int, str, str]]] = {}
        rows = Pairing.objects.values_list(
            "id", "key", "scion__name", "rootstock__name", "rootstock__crop__name",
            "scion__crop_id", "scion__crop__name", "scion__crop__key",
        )  # fmt: skip
        for pairing, key, scion, rootstock, rootstock_crop, crop, crop_name, crop_key in rows:
            self._crops[crop] = Called(crop_name, str(crop_key))
            self._crop_of[pairing] = crop
            name = pairing_name(scion, rootstock)
            names.setdefault((crop, name), []).append((pairing, str(key), rootstock_crop))
        # Rootstocks of two crops may bear one name; then their crop is said.
        return {
            pairing: Called(name if len(same) == 1 else f"{name} ({rootstock_crop})", key)
            for (_crop, name), same in names.items()
            for pairing, key, rootstock_crop in same
        }


def parted(rows: QuerySet[Any], names: RowNames, path: Path) -> tuple[QuerySet[Any], list[str]]:
    """Annotate rows with what tells in which row of the report they fall; return the names of these too."""
    parts = {f"part_{number}": part for number, part in enumerate(names.parts(path))}
    return rows.order_by().annotate(**parts), list(parts)


def row_name(key: RowKey, called: Mapping[Any, Called]) -> str:
    """Name a row by the names of what its key holds."""
    if key == NOT_RECORDED:
        return _("not recorded")
    if key == MIXED:
        return _("mixed: several lots")
    names = sorted(called[part].name for part in key)
    if len(names) == 1:
        return names[0]
    return _("%(first)s with %(second)s") % {"first": names[0], "second": names[1]}


def read_names(by: TakeBy) -> dict[Any, Called]:
    """Return what the rows of a cut other than the pairing may be about, by its key. One query at most."""
    if by is TakeBy.METHOD:
        return {value: Called(str(label), value) for value, label in Method.choices}
    if by is TakeBy.ROOTS:
        return {value: Called(str(label), value) for value, label in Run.Roots.choices}
    if by is TakeBy.GRAFTER:
        return _called(Worker.objects.values_list("id", "name", "key"))
    if by is TakeBy.PLACE:
        return _called(Place.objects.values_list("id", "name", "code"))
    if by is TakeBy.SESSION:
        return {session.pk: session_called(session) for session in Session.objects.select_related("place")}
    return _lots()


def session_called(session: Session) -> Called:
    """Name a session by its start and its bench."""
    start = date_format(timezone.localtime(session.started_at), "j F Y, H:i")
    name = f"{start}, {session.place.name}" if session.place else start
    return Called(name, str(session.key))


def _called(rows: Any) -> dict[Any, Called]:
    return {key: Called(name, str(public)) for key, name, public in rows}


def _lots() -> dict[Any, Called]:
    """Name lots by cultivar and number; by the supplier too where two would be called the same."""
    rows = list(SeedLot.objects.values_list("id", "cultivar__name", "lot_number", "supplier", "key"))
    plain = Counter((cultivar, number) for _key, cultivar, number, *_rest in rows)
    return {
        key: Called(
            f"{cultivar}, {number}" + (f" ({supplier})" if supplier and plain[cultivar, number] > 1 else ""),
            str(public),
        )
        for key, cultivar, number, supplier, public in rows
    }
