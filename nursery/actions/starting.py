"""What every farm starts with: tray formats, layouts, common crops. Running it again changes nothing."""

from django.db import transaction

from nursery.models import Crop, Layout, Method, TrayFormat

# Counts and shape: 50 to 288 cells, rows x columns. Density from OMAFRA; counts from memory.
# Outside about 540 x 279 mm (21.25 x 11 in).
FORMATS = [(5, 10), (6, 12), (7, 14), (7, 15), (8, 16), (9, 18), (10, 20), (12, 24)]
OUTSIDE_MM = (540, 279)

LAYOUTS = [
    ("Every cell", Layout.Pattern.EVERY, False),
    ("Every other cell", Layout.Pattern.OTHER_CELL, False),
    ("Every other cell, label corner empty", Layout.Pattern.OTHER_CELL, True),
    ("Every other row", Layout.Pattern.OTHER_ROW, False),
]

PRACTICE = "common practice, no source"
CROPS = [
    ("Tomato", "Solanum lycopersicum", Method.SPLICE),
    ("Eggplant", "Solanum melongena", Method.SPLICE),
    ("Pepper", "Capsicum annuum", Method.SPLICE),
    ("Cucumber", "Cucumis sativus", Method.ONE_COTYLEDON),
    ("Melon", "Cucumis melo", Method.ONE_COTYLEDON),
    ("Watermelon", "Citrullus lanatus", Method.ONE_COTYLEDON),
    ("Squash", "Cucurbita", ""),
    ("Bottle gourd", "Lagenaria siceraria", ""),
]


@transaction.atomic
def ensure_starting_values() -> None:
    """Put the ready formats, layouts and crops into an empty book."""
    for rows, columns in FORMATS:
        TrayFormat.objects.get_or_create(
            name=str(rows * columns),
            defaults={
                "rows": rows,
                "columns": columns,
                "length_mm": OUTSIDE_MM[0],
                "width_mm": OUTSIDE_MM[1],
                "is_built_in": True,
            },
        )
    for name, pattern, skips_first in LAYOUTS:
        Layout.objects.get_or_create(
            name=name, defaults={"pattern": pattern, "skips_first": skips_first, "is_built_in": True}
        )
    if Crop.objects.exists():
        return
    for name, botanical_name, method in CROPS:
        Crop.objects.create(
            name=name, botanical_name=botanical_name, method=method, method_origin=PRACTICE if method else ""
        )
