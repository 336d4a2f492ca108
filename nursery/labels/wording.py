"""Which lines stand on a label, in which size, and which may go when room is short.

Sizes in points are wishes for a label about 33 mm high; larger labels scale them up. Read at arm's
length: the code, then the pairing, then the day.
"""

from dataclasses import replace

from nursery.calc.codes import spoken
from nursery.labels.content import FlatLabel, Label, PlaceLabel, SowingLabel, Words
from nursery.labels.fitting import Paragraph

LEAST_PT = 6.0
TO_WRITE_ON = "_" * 12

Paragraphs = list[Paragraph]


def paragraphs(label: Label, words: Words) -> Paragraphs:
    """Return what stands in the label's text column, from the top down."""
    code = Paragraph(
        text=spoken(label.code), size_pt=21, least_pt=9, bold=True, lines=1, tracking_em=0.04, whole=True
    )
    if isinstance(label, FlatLabel):
        return [code, *_pairing(label, words), *_grafting(label, words)]
    if isinstance(label, SowingLabel):
        return [code, *_seed(label, words), *_sown(label, words)]
    if isinstance(label, PlaceLabel):
        return _place(label, code)
    return [code]


def farm(label: Label) -> Paragraph:
    """Return the farm's name, the least of all lines."""
    return Paragraph(text=label.farm, size_pt=6.5, least_pt=LEAST_PT)


def _pairing(label: FlatLabel, words: Words) -> Paragraphs:
    on = f"{words.on} {label.rootstock}" if label.rootstock else ""
    return [
        Paragraph(text=label.scion, size_pt=11.5, least_pt=7, bold=True, before_pt=1),
        Paragraph(text=on, size_pt=10, least_pt=6.5, before_pt=1),
    ]


def _grafting(label: FlatLabel, words: Words) -> Paragraphs:
    by = label.grafters or ("" if label.grafted_on else TO_WRITE_ON)
    record = f"{words.record} {label.record_on}" if label.record_on else ""
    return [
        _day(words.grafted, label.grafted_on),
        _small(f"{words.by} {by}" if by else "", may_go=2),
        _small(_joined(label.count, record), may_go=1),
    ]


def _seed(label: SowingLabel, words: Words) -> Paragraphs:
    lot = f"{words.lot} {label.lot}" if label.lot else ""
    return [
        Paragraph(text=label.cultivar, size_pt=11.5, least_pt=7, bold=True, before_pt=1),
        Paragraph(text=lot, size_pt=9.5, least_pt=LEAST_PT, before_pt=1, may_go=1),
    ]


def _sown(label: SowingLabel, words: Words) -> Paragraphs:
    return [
        _day(words.sown, label.sown_on),
        _small(label.seeds, may_go=2),
    ]


def _place(label: PlaceLabel, code: Paragraph) -> Paragraphs:
    """The name is read from the other end of the house; the code only at arm's length."""
    where = _joined(label.kind, label.within)
    return [
        Paragraph(text=label.name, size_pt=24, least_pt=9, bold=True, least_share=0.7),
        Paragraph(text=where, size_pt=10, least_pt=LEAST_PT, before_pt=1, may_go=1),
        replace(code, size_pt=14, at_foot=True),
    ]


def _day(word: str, day: str | None) -> Paragraph:
    text = f"{word} {day or TO_WRITE_ON}"
    return Paragraph(text=text, size_pt=10.5, least_pt=LEAST_PT, bold=True, least_share=0.6, at_foot=True)


def _small(text: str, *, may_go: int) -> Paragraph:
    return Paragraph(text=text, size_pt=8.5, least_pt=LEAST_PT, may_go=may_go, at_foot=True)


def _joined(*parts: str) -> str:
    return " · ".join(part for part in parts if part)
