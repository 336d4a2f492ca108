"""Who grafts what on what, and how: all that carries over from one flat to the next."""

from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from nursery.models import Pairing, Run, RunSowing, Sowing, Worker

SIDES = {"scion_sowings": RunSowing.Side.SCION, "rootstock_sowings": RunSowing.Side.ROOTSTOCK}


@dataclass(frozen=True, slots=True)
class Work:
    """What a run says besides its flat, its place and its time.

    Only the pairing and the method must be known. The field names are those of ``Run``; sowings are given a
    side, in any order, and may be none ("not recorded").
    """

    pairing: Pairing
    method: str
    worker: Worker | None = None
    second_worker: Worker | None = None
    scion_sowings: tuple[Sowing, ...] = ()
    rootstock_sowings: tuple[Sowing, ...] = ()
    cut: str = Run.Cut.UNKNOWN
    roots: str = Run.Roots.UNKNOWN
    clip: str = ""
    rested_hours: Decimal | None = None
    scion_cut_by: Worker | None = None
    rootstock_cut_by: Worker | None = None

    @classmethod
    def of(cls, run: Run) -> "Work":
        """Return the work of a run that is stored."""
        values: dict[str, Any] = {name: getattr(run, name) for name in _COLUMNS}
        values |= {name: _sowings(run, side) for name, side in SIDES.items()}
        return cls(**values)

    def by(self, worker: Worker | None, second_worker: Worker | None = None) -> "Work":
        """Return the same work in other hands."""
        return replace(self, worker=worker, second_worker=second_worker)

    def on_pairing(self, pairing: Pairing) -> "Work":
        """Return the same work on another pairing; sowings stay on the side whose cultivar stays."""
        stays = {
            "scion_sowings": pairing.scion_id == self.pairing.scion_id,
            "rootstock_sowings": pairing.rootstock_id == self.pairing.rootstock_id,
        }
        kept: dict[str, Any] = {name: getattr(self, name) if stay else () for name, stay in stays.items()}
        return replace(self, pairing=pairing, **kept)

    def with_sowing(self, sowing: Sowing, *, beside: bool = False) -> "Work":
        """Return the work with a sowing on the side of its cultivar (rootstock, if it is both).

        It takes the place of the sowings there, or stands ``beside`` them.
        """
        name = side_of(self.pairing, sowing)
        others = tuple(s for s in getattr(self, name) if beside and s.pk != sowing.pk)
        changed: dict[str, Any] = {name: (*others, sowing)}
        return replace(self, **changed)

    def check(self) -> None:
        """Raise ValidationError for a sowing of another cultivar or a pair that is none."""
        errors: dict[str, str] = {}
        for name, cultivar in (
            ("scion_sowings", self.pairing.scion),
            ("rootstock_sowings", self.pairing.rootstock),
        ):
            wrong = [s for s in getattr(self, name) if s.lot.cultivar_id != cultivar.pk]
            if wrong:
                errors[name] = _("%(sowing)s is not %(cultivar)s: choose a sowing of %(cultivar)s.") % {
                    "sowing": wrong[0],
                    "cultivar": cultivar,
                }
        if self.second_worker and not self.worker:
            errors["worker"] = _("A pair needs both names: say who grafts with %(name)s.") % {
                "name": self.second_worker
            }
        elif self.second_worker and self.second_worker == self.worker:
            errors["second_worker"] = _("A pair is two different people.")
        if errors:
            raise ValidationError(errors)

    def columns(self) -> dict[str, Any]:
        """Return the columns of ``Run`` that hold this work."""
        return {name: getattr(self, name) for name in _COLUMNS}


_COLUMNS = tuple(field.name for field in fields(Work) if field.name not in SIDES)


def side_of(pairing: Pairing, sowing: Sowing) -> str:
    """Return the field of ``Work`` for the side that a sowing stands on; ValidationError if it is on none."""
    cultivar_id = sowing.lot.cultivar_id
    if cultivar_id == pairing.rootstock_id:
        return "rootstock_sowings"
    if cultivar_id == pairing.scion_id:
        return "scion_sowings"
    raise ValidationError(
        _("%(sowing)s is neither scion nor rootstock of %(pairing)s: choose a pairing that has it.")
        % {"sowing": sowing, "pairing": pairing}
    )


def store_sowings(run: Run, work: Work) -> None:
    """Make the sowings of a run those of ``work``; rows that stay are left alone."""
    wanted = {(sowing.pk, side) for name, side in SIDES.items() for sowing in getattr(work, name)}
    stored = {(row.sowing_id, row.side): row.pk for row in RunSowing.objects.filter(run=run)}
    RunSowing.objects.filter(pk__in=[pk for pair, pk in stored.items() if pair not in wanted]).delete()
    RunSowing.objects.bulk_create(
        RunSowing(run=run, sowing_id=sowing_id, side=side)
        for sowing_id, side in sorted(wanted)
        if (sowing_id, side) not in stored
    )


def _sowings(run: Run, side: str) -> tuple[Sowing, ...]:
    rows = run.run_sowings.filter(side=side).select_related("sowing__lot__cultivar").order_by("pk")
    return tuple(row.sowing for row in rows)
