"""What a grower types for each kind of record, and how a row of it is made."""

from datetime import date, timedelta

from nursery.models import Layout, TrayFormat
from tests.factories import (
    make_crop,
    make_cultivar,
    make_lot,
    make_pairing,
    make_place,
    make_season,
    make_sowing,
    make_worker,
)

MAKERS = {
    "crops": lambda n: make_crop(f"Row {n}"),
    "cultivars": lambda n: make_cultivar(f"Row {n}", crop=make_crop(f"Crop {n}")),
    "pairings": lambda n: make_pairing(
        make_cultivar(f"Row {n}", crop=make_crop(f"Crop {n}")), make_cultivar(f"Stock {n}")
    ),
    "seed-lots": lambda n: make_lot(make_cultivar(f"Row {n}"), supplier=f"Supplier {n}"),
    "sowings": lambda n: make_sowing(make_lot(make_cultivar(f"Row {n}"))),
    "tray-formats": lambda n: TrayFormat.objects.create(name=f"Row {n}", rows=2, columns=3),
    "layouts": lambda n: Layout.objects.create(name=f"Row {n}", pattern="every"),
    "workers": lambda n: make_worker(f"Row {n}"),
    "places": lambda n: make_place(f"Row {n}", stands_in=make_place(f"Outer {n}")),
    "seasons": lambda n: make_season(
        f"Row {n}", date(2000, 1, 1) + timedelta(days=n), date(2000, 1, 1) + timedelta(days=n)
    ),
}


def typed(slug):
    """Return a valid form of each kind; what it points to is made."""
    return {
        "crops": lambda: {"name": "Okra", "method": "", "method_origin": ""},
        "cultivars": lambda: {"crop": make_crop().key, "name": "Okra", "use": "scion"},
        "pairings": lambda: {
            "scion": make_cultivar().key,
            "rootstock": make_cultivar().key,
            "method": "cleft",
            "record_days": "12",
        },
        "seed-lots": lambda: {
            "cultivar": make_cultivar().key,
            "lot_number": "Okra",
            "seeds_count": "500",
            "organic": "organic",
        },
        "sowings": lambda: {"lot": make_lot().key, "sown_on": "2026-02-09", "seeds_count": "200"},
        "tray-formats": lambda: {"name": "Okra", "rows": "4", "columns": "6"},
        "layouts": lambda: {"name": "Okra", "pattern": "other_row"},
        "workers": lambda: {"name": "Okra", "account": "", "is_active": "on"},
        "places": lambda: {"name": "Okra", "kind": "bench", "stands_in": ""},
        "seasons": lambda: {"name": "Okra", "starts_on": "2026-01-01", "ends_on": "2026-06-30"},
    }[slug]()


# A field that is wrong in each kind, and the first words of what the page says about it.
WRONG = {
    "crops": ("method", "glue", "Usual method: this is not in the book"),
    "cultivars": ("crop", "", "Crop: choose one"),
    "pairings": ("record_days", "91", "Record day: at most 90"),
    "seed-lots": ("germination_share", "101", "Germination, %: at most 100"),
    "sowings": ("seeds_count", "0", "Say how many seeds were sown"),
    "tray-formats": ("columns", "41", "Columns: at most 40"),
    "layouts": ("pattern", "spiral", "Pattern: this is not in the book"),
    "workers": ("started_on", "soon", "First day: write the date"),
    "places": ("kind", "", "Kind: choose one"),
    "seasons": ("ends_on", "2025-01-01", "The last day lies before the first day"),
}
