"""What a row of the take report is about, and what it is called."""

from collections.abc import Mapping
from enum import StrEnum
from typing import TypeVar

from django.utils.translation import gettext as _

from nursery.models.people import Worker
from nursery.models.plant import Pairing, pairing_name

# A pairing's id; or the ids of those who grafted, none where nobody was recorded.
RowKey = tuple[int, ...]
_T = TypeVar("_T")


class TakeBy(StrEnum):
    PAIRING = "pairing"
    GRAFTER = "grafter"


class RowNames:
    """Names of pairings, grafters and crops, read once."""

    def __init__(self, by: TakeBy) -> None:
        self.by = by
        self._crops: dict[int, tuple[str, str]] = {}
        self._crop_of: dict[int, int] = {}
        self._pairings = self._read_pairings()
        self._workers = dict(Worker.objects.values_list("id", "name")) if by is TakeBy.GRAFTER else {}

    @property
    def parts(self) -> tuple[str, ...]:
        """The columns of a count that say to which row it belongs."""
        if self.by is TakeBy.PAIRING:
            return ("pairing_id",)
        return ("pairing_id", "run__worker_id", "run__second_worker_id")

    def row(self, pairing: int, *workers: int | None) -> tuple[int, RowKey]:
        """Return crop and row of a count by its ``parts``."""
        crop = self._crop_of[pairing]
        if self.by is TakeBy.PAIRING:
            return crop, (pairing,)
        return crop, tuple(sorted(worker for worker in workers if worker is not None))

    def name(self, key: RowKey) -> str:
        if self.by is TakeBy.PAIRING:
            return self._pairings[key[0]]
        if not key:
            return _("not recorded")
        if len(key) == 1:
            return self._workers[key[0]]
        first, second = sorted(self._workers[worker] for worker in key)
        return _("%(first)s with %(second)s") % {"first": first, "second": second}

    def crop_name(self, crop: int) -> str:
        return self._crops[crop][0]

    def crop_key(self, crop: int) -> str:
        return self._crops[crop][1]

    def in_order(self, rows: Mapping[tuple[RowKey, int], _T]) -> list[tuple[tuple[RowKey, int], _T]]:
        """Sort rows of a name and a day."""
        return sorted(rows.items(), key=lambda row: (self.name(row[0][0]), row[0][1]))

    def _read_pairings(self) -> dict[int, str]:
        names: dict[tuple[int, str], list[tuple[int, str]]] = {}
        rows = Pairing.objects.values_list(
            "id", "scion__name", "rootstock__name", "rootstock__crop__name",
            "scion__crop_id", "scion__crop__name", "scion__crop__key",
        )  # fmt: skip
        for pairing, scion, rootstock, rootstock_crop, crop, crop_name, crop_key in rows:
            self._crops[crop] = crop_name, str(crop_key)
            self._crop_of[pairing] = crop
            name = pairing_name(scion, rootstock)
            names.setdefault((crop, name), []).append((pairing, rootstock_crop))
        # Rootstocks of two crops may bear one name; then their crop is said.
        return {
            pairing: name if len(same) == 1 else f"{name} ({rootstock_crop})"
            for (_crop, name), same in names.items()
            for pairing, rootstock_crop in same
        }
