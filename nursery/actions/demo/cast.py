"""The invented farm's people, places, cultivars, seed and sowings."""

import random
import uuid
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

from nursery.actions.codes import issue_code
from nursery.actions.demo_accounts import CREW, GROWER, create_demo_accounts
from nursery.actions.stamp import Stamp
from nursery.actions.starting import ensure_starting_values
from nursery.calc.codes import FLAT, PLACE, SOWING
from nursery.models import (
    Account,
    Crop,
    Cultivar,
    Farm,
    Layout,
    Pairing,
    Place,
    PrintedCode,
    Run,
    Season,
    SeedLot,
    Sowing,
    TrayFormat,
    Worker,
)

FARM_NAME = "Harrow Lane Plants"
SEED = 20260214
FIRST_DAY, LAST_DAY = -64, 62  # of the season, counted from today
YEAR = 365  # days from a day of last season to the same day of this one

WORKERS = ["Wren", "Ash", "Juniper", "Teal", "Rowan"]
PLACES = [
    ("Bench 1", Place.Kind.BENCH, None),
    ("Bench 2", Place.Kind.BENCH, None),
    ("Chamber", Place.Kind.CHAMBER, 24),
    ("Small chamber", Place.Kind.CHAMBER, 6),
    ("Warm bay", Place.Kind.BAY, 60),
    ("Cool bay", Place.Kind.BAY, 80),
    *((f"Trolley {number}", Place.Kind.TROLLEY, 8) for number in (1, 2, 3)),
]


@dataclass(frozen=True, slots=True)
class Recipe:
    """A pairing of the invented season; ``take`` is the share that this farm's flats vary around."""

    crop: str
    scion: str
    rootstock_crop: str
    rootstock: str
    method: str
    take: float
    flats: int
    columns: int = 12
    rows: int = 6
    roots: str = Run.Roots.OWN


RECIPES = [
    Recipe("Tomato", "Amber Lantern", "Tomato", "Stonefoot", "splice", 0.955, 11),
    Recipe("Tomato", "Ruby Coach", "Tomato", "Stonefoot", "splice", 0.90, 8),
    Recipe("Tomato", "Amber Lantern", "Tomato", "Tallow", "splice", 0.91, 7),
    Recipe("Tomato", "Ruby Coach", "Tomato", "Tallow", "splice", 0.79, 6),
    Recipe("Eggplant", "Night Plum", "Eggplant", "Bristlewood", "splice", 0.86, 6),
    Recipe("Pepper", "Brass Bell", "Pepper", "Oakenheel", "cleft", 0.83, 4),
    Recipe("Cucumber", "Long Acre", "Squash", "Millwheel", "one_cotyledon", 0.84, 6, 10, 5),
    Recipe("Watermelon", "Sunday Drum", "Bottle gourd", "Ferryman", "hole_insertion", 0.76, 4, 10, 5),
    Recipe("Melon", "Honey Gate", "Squash", "Millwheel", "tongue", 0.92, 2, 10, 5),
]
AMBER, RUBY, AMBER_TALLOW, RUBY_TALLOW, PLUM, PEPPER, CUCUMBER, DRUM, TONGUE = RECIPES


@dataclass(slots=True)
class Cast:
    """What the season is played with. ``rng`` is the only source of chance."""

    today: date
    rng: random.Random
    accounts: dict[str, Account] = field(default_factory=dict)
    workers: dict[str, Worker] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    sowings: dict[int, list[Sowing]] = field(default_factory=dict)  # by cultivar

    def day(self, day: int) -> date:
        """Return the date of the farm's day ``day`` (0 = today)."""
        return self.today + timedelta(days=day)

    def at(self, day: int, hour: int, minute: int = 0) -> datetime:
        """Return a moment of the farm's day ``day`` (0 = today); it keeps UTC."""
        start = datetime.combine(self.day(day), time(hour), UTC)
        return start + timedelta(minutes=minute)

    def stamp(self, at: datetime, worker: Worker | None = None) -> Stamp:
        return Stamp.of(at, self.accounts[GROWER], worker)

    def code(self) -> str:
        """Return the code of a new flat, printed ahead on a roll: the same one every time."""
        code = issue_code(FLAT, self.rng)
        PrintedCode.objects.create(code=code, printed_at=self.at(FIRST_DAY - YEAR, 8))
        return code

    def uuid(self) -> uuid.UUID:
        return uuid.UUID(int=self.rng.getrandbits(128), version=4)

    def pairing(self, recipe: Recipe) -> Pairing:
        return Pairing.objects.named().get(scion__name=recipe.scion, rootstock__name=recipe.rootstock)


def cast_the_farm(today: date) -> Cast:
    """Make the farm, its seasons, people, places and plants."""
    cast = Cast(today, random.Random(SEED))
    ensure_starting_values()
    Farm.objects.create(pk=1, name=FARM_NAME, is_demo=True, label_address="http://localhost:8000")
    for years in (0, 1):
        Season.objects.create(
            name=f"Season {today.year - years}",
            starts_on=today + timedelta(days=FIRST_DAY - years * YEAR),
            ends_on=today + timedelta(days=LAST_DAY - years * YEAR),
        )
    cast.accounts = create_demo_accounts()
    cast.workers = {name: Worker.objects.create(name=name) for name in WORKERS}
    Worker.objects.filter(name="Ash").update(account=cast.accounts[CREW])
    for order, (name, kind, capacity) in enumerate(PLACES):
        cast.places[name] = Place.objects.create(
            code=issue_code(PLACE, cast.rng), name=name, kind=kind, capacity_flats=capacity, walk_order=order
        )
    for recipe in RECIPES:
        _plant(cast, recipe)
    return cast


def _plant(cast: Cast, recipe: Recipe) -> None:
    scion = _cultivar(cast, recipe.crop, recipe.scion, Cultivar.Use.SCION)
    rootstock = _cultivar(cast, recipe.rootstock_crop, recipe.rootstock, Cultivar.Use.ROOTSTOCK)
    Pairing.objects.create(scion=scion, rootstock=rootstock, method=recipe.method)


def _cultivar(cast: Cast, crop: str, name: str, use: str) -> Cultivar:
    cultivar, is_new = Cultivar.objects.get_or_create(
        crop=Crop.objects.get(name=crop), name=name, defaults={"use": use}
    )
    if is_new:
        for number in (1, 2):
            sow_lot(cast, cultivar, number)
    return cultivar


def sow_lot(cast: Cast, cultivar: Cultivar, number: int, *, before: int = 0) -> None:
    """Buy a seed lot of a cultivar and sow of it four times, ``before`` days before this season's."""
    rng = cast.rng
    lot = SeedLot.objects.create(
        cultivar=cultivar,
        lot_number=f"{cultivar.name[:2].upper()}{rng.randrange(1000, 9999)}",
        supplier=rng.choice(["Meadow & Spade", "Three Ditches Seed"]),
        received_on=cast.today + timedelta(days=-100 + number - before),
        seeds_count=1000 * number,
        price=Decimal(rng.randrange(60, 240)),
        germination_share=Decimal(rng.randrange(86, 98)) / 100,
        germination_tested_on=cast.today - timedelta(days=120 + before),
        organic=rng.choice([SeedLot.Organic.ORGANIC, SeedLot.Organic.UNTREATED]),
    )
    for day in (-78, -62, -46, -30):
        sown_on = cast.today + timedelta(days=day + 4 * number - before)
        seeds = rng.randrange(300, 700)
        stand = round(seeds * rng.uniform(0.84, 0.96))
        sowing = Sowing.objects.create(
            code=issue_code(SOWING, rng),
            lot=lot,
            sown_on=sown_on,
            seeds_count=seeds,
            stand_count=stand,
            stand_counted_on=sown_on + timedelta(days=10),
            usable_count=round(stand * rng.uniform(0.85, 0.95)),
        )
        cast.sowings.setdefault(cultivar.pk, []).append(sowing)


def tray(rows: int, columns: int) -> tuple[TrayFormat, Layout]:
    """Return a ready format and the layout that uses every cell."""
    return TrayFormat.objects.get(name=str(rows * columns)), Layout.objects.get(name="Every cell")
