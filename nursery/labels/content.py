"""What stands on a label. Every value is text as a person reads it: dates and counts come formatted.

``address`` is what the QR symbol says. In capitals it makes the smaller, more robust symbol.
Words printed around the values come from ``Words``, so that a caller can hand in translated ones.
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class FlatLabel:
    """A grafted flat, or one about to be: without ``grafted_on`` it leaves room for a pencil."""

    code: str
    address: str
    scion: str
    rootstock: str
    grafted_on: str | None = None
    grafters: str = ""
    count: str = ""
    record_on: str = ""
    farm: str = ""


@dataclass(frozen=True, kw_only=True)
class SowingLabel:
    """A sowing; without ``sown_on`` it leaves room for a pencil."""

    code: str
    address: str
    cultivar: str
    lot: str = ""
    sown_on: str | None = None
    seeds: str = ""
    farm: str = ""


@dataclass(frozen=True, kw_only=True)
class CodeLabel:
    """A code printed ahead, with blank lines to write on."""

    code: str
    address: str
    farm: str = ""


@dataclass(frozen=True, kw_only=True)
class PlaceLabel:
    """A place where flats stand; ``within`` says in which other place it stands."""

    code: str
    address: str
    name: str
    kind: str = ""
    within: str = ""
    farm: str = ""


Label = FlatLabel | SowingLabel | PlaceLabel | CodeLabel


@dataclass(frozen=True, kw_only=True)
class Words:
    """The words printed around the values."""

    on: str = "on"
    by: str = "by"
    grafted: str = "Grafted"
    record: str = "record"
    sown: str = "Sown"
    lot: str = "Lot"


ENGLISH = Words()
