"""Whether every kind of label goes on a paper, however long its texts."""

from nursery.labels.content import CodeLabel, FlatLabel, PlaceLabel, SowingLabel
from nursery.labels.pdf import layout
from nursery.labels.stocks import Stock

USUAL_ADDRESS = "http://192.168.100.200:8000"
LONG = "Ẳ" * 60  # the widest and tallest of capitals
FLAT_CODE, SOWING_CODE, PLACE_CODE = "FWWWW0Q", "SWWWW01", "PWWWW0F"  # the widest letters


def require_room(stock: Stock, base_address: str = "") -> None:
    """Raise ValueError unless a label of each kind fits, with the farm's address in its QR symbol."""
    base = base_address or USUAL_ADDRESS
    flat, sowing, place = (f"{base}/{code}".upper() for code in (FLAT_CODE, SOWING_CODE, PLACE_CODE))
    for label in (
        FlatLabel(
            code=FLAT_CODE,
            address=flat,
            scion=LONG,
            rootstock=LONG,
            grafted_on=LONG,
            grafters=LONG,
            count=LONG,
            record_on=LONG,
            farm=LONG,
        ),
        SowingLabel(
            code=SOWING_CODE, address=sowing, cultivar=LONG, lot=LONG, sown_on=LONG, seeds=LONG, farm=LONG
        ),
        PlaceLabel(code=PLACE_CODE, address=place, name=LONG, kind=LONG, within=LONG, farm=LONG),
        CodeLabel(code=FLAT_CODE, address=flat, farm=LONG),
    ):
        layout(label, stock)
