"""Flats with plants in them, for the tests of leaving, moving together and grafting again."""

import re
from datetime import timedelta

from django.utils import timezone

from nursery.actions.leaving import Goal, let_leave, let_leave_by_number
from nursery.actions.stamp import Stamp
from nursery.actions.stock import alive_in, flat_stock
from nursery.models import Cultivar, Pairing
from tests.factories import make_crop, make_flat, make_run, make_worker


def days_ago(days):
    return timezone.localdate() - timedelta(days=days)


def _pairing():
    crop = make_crop()
    names = ("Amber Lantern", "Stonefoot")
    scion, rootstock = (Cultivar.objects.get_or_create(crop=crop, name=name)[0] for name in names)
    return Pairing.objects.get_or_create(scion=scion, rootstock=rootstock)[0]


def planted(*, places=range(1, 73), days=12, pairing=None, flat=None, **fields):
    """A flat of 72 grafted some days ago by Wren: Amber Lantern on Stonefoot."""
    pairing = pairing or _pairing()
    flat = flat or make_flat()
    make_run(flat, places=places, grafted_on=days_ago(days), pairing=pairing, worker=make_worker(), **fields)
    return flat


def alive(flat):
    return alive_in(flat_stock(flat))


def leave_now(flat, places, **goal):
    return let_leave(flat, places=places, goal=Goal("sold", **goal), stamp=Stamp.now())


def leave_by_number(flat, plants, **goal):
    numbers = {flat.runs.first().pk: plants}
    return let_leave_by_number(flat, numbers=numbers, goal=Goal("sold", **goal), stamp=Stamp.now())


def words(answer):
    html = answer.content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html[html.index("<main") :]).split())
