"""Labels for the tests: short ones, and the longest a label must bear, with accents from all over."""

from nursery.calc.codes import ALPHABET, check_character
from nursery.labels import CodeLabel, FlatLabel, PlaceLabel, SowingLabel

BASE = "HTTP://192.168.100.200:8000/"
LONG_SCION = "Żółta Řeřicha Dvořákova Ångström’s Überlange Süßkirschtomate Número Çiñquenta"
LONG_ROOTSTOCK = "Großwüchsige Wurzelunterlage Žižkov-Őrség ‘Śnieżna Łąka’ Nº 128 résistante"
LONG_PEOPLE = "Maria-Antonieta Fernández-Núñez, Krzysztof Wiśniewski, Zoë Þórsdóttir"
LONG_FARM = "Jardins maraîchers de la Vallée-aux-Œillets et Fils"


def nth_code(number: int, kind: str = "F") -> str:
    """A valid code; neighbours differ in several characters."""
    mixed = (number * 1_000_003 + 17) % len(ALPHABET) ** 5
    for value in range(mixed, mixed + 50):
        body = kind + "".join(ALPHABET[value >> shift & 31] for shift in (20, 15, 10, 5, 0))
        total = 0
        for character in body:
            total = total * 32 + ALPHABET.index(character)
        if check_character(total) in ALPHABET:
            return body + check_character(total)
    raise AssertionError("no code with a plain check character nearby")


def short_flat(number: int = 0, **changes: str | None) -> FlatLabel:
    code = nth_code(number)
    fields = {
        "scion": "Bellarosa",
        "rootstock": "Ironfoot",
        "grafted_on": "28 Mar 2026",
        "grafters": "Ana, Bo",
        "count": "72 plants",
        "record_on": "11 Apr 2026",
        "farm": "Windhollow Farm",
    }
    return FlatLabel(code=code, address=BASE + code, **{**fields, **changes})


def long_flat(number: int = 0) -> FlatLabel:
    return short_flat(
        number,
        scion=LONG_SCION,
        rootstock=LONG_ROOTSTOCK,
        grafted_on="28 September 2026",
        grafters=LONG_PEOPLE,
        count="288 plants",
        record_on="12 October 2026",
        farm=LONG_FARM,
    )


def sowing(number: int = 0, **changes: str | None) -> SowingLabel:
    code = nth_code(number, "S")
    fields = {"cultivar": "Ironfoot", "lot": "W-2291", "sown_on": "2 Mar 2026", "seeds": "144 seeds"}
    return SowingLabel(code=code, address=BASE + code, farm="Windhollow Farm", **{**fields, **changes})


def blank_code(number: int = 0) -> CodeLabel:
    code = nth_code(number)
    return CodeLabel(code=code, address=BASE + code, farm="Windhollow Farm")


def a_place(number: int = 0, **changes: str) -> PlaceLabel:
    code = nth_code(number, "P")
    fields = {"name": "Trolley 7", "kind": "Trolley", "within": "in Chamber A", "farm": "Windhollow Farm"}
    return PlaceLabel(code=code, address=BASE + code, **{**fields, **changes})


ONE_OF_EACH = {
    "short": short_flat(),
    "long": long_flat(),
    "not grafted": short_flat(grafted_on=None, grafters="", count="", record_on=""),
    "one long word": short_flat(scion="W" * 80, rootstock="Ẳ" * 80, farm="W" * 80),
    "sowing": sowing(),
    "long sowing": sowing(cultivar=LONG_SCION, lot=LONG_ROOTSTOCK, sown_on=None),
    "place": a_place(),
    "long place": a_place(name=LONG_SCION[:60], within=LONG_ROOTSTOCK, farm=LONG_FARM),
    "code": blank_code(),
}
