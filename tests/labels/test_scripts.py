"""Which scripts print, told from the font file itself, and how text from the right comes to paper."""

import pypdfium2
import pytest
from reportlab.pdfbase.ttfonts import TTFontFile

from nursery.labels import STOCKS, render_labels
from nursery.labels.gaps import gaps_of, scripts_that_print
from nursery.labels.pdf import FONT_DIR, FONT_FILES, font_metrics
from nursery.labels.scripts import SCRIPTS, in_print_order, missing, reads_from_right, shaped
from tests.labels.samples import short_flat

PRINT = {"Latin", "Greek", "Cyrillic", "Armenian", "Georgian", "Hebrew", "Arabic", "Persian"}
# Unicode, table of the Arabic presentation forms B: alef isolated and final, lam-alef, beh initial to final.
ALEF, LAM_ALEF, BEH = "\u0627", "\ufefb", "\u0628"
BEH_INITIAL, BEH_MEDIAL, BEH_FINAL = "\ufe91", "\ufe92", "\ufe90"


def test_the_table_says_of_each_script_whether_it_prints():
    lost = {name: characters for name, _sample, characters in scripts_that_print()}
    assert {name for name, characters in lost.items() if not characters} == PRINT
    assert len(lost["Urdu"]) == 2  # two letters that Urdu has and the font has not
    none_of_it = lost.keys() - PRINT - {"Urdu"}
    assert all(set(lost[one.name]) == set(one.sample) for one in SCRIPTS if one.name in none_of_it)


@pytest.mark.parametrize("file", FONT_FILES.values())
def test_what_is_said_to_print_stands_in_the_font_file(file):
    glyphs = TTFontFile(str(FONT_DIR / file)).charToGlyph
    for script in SCRIPTS:
        if script.name in PRINT:
            assert all(ord(character) in glyphs for character in shaped(script.sample)), script.name


@pytest.mark.parametrize("name", ["Chinese", "Korean", "Thai", "Devanagari (Hindi, Marathi, Nepali)"])
def test_what_is_said_not_to_print_is_not_in_the_font_file(name):
    glyphs = TTFontFile(str(FONT_DIR / FONT_FILES[False])).charToGlyph
    [script] = [script for script in SCRIPTS if script.name == name]
    assert not any(ord(character) in glyphs for character in script.sample)


def test_arabic_letters_join():
    assert shaped(BEH * 3) == BEH_INITIAL + BEH_MEDIAL + BEH_FINAL
    assert shaped("\u0644" + ALEF) == LAM_ALEF


def test_vowel_points_are_left_out():
    assert shaped("\u05d0\u05b8\u05d1") == "\u05d0\u05d1"
    assert shaped("\u0628\u064e") == shaped("\u0628")


@pytest.mark.parametrize(
    ("line", "on_paper"),
    [
        ("abc 12", "abc 12"),
        ("\u05d0\u05d1 12", "12 \u05d1\u05d0"),  # UAX 9: digits keep their order, after the word at its left
        ("Lot \u05d0\u05d1", "Lot \u05d1\u05d0"),
        ("\u05d0 (abc) \u05d1", "\u05d1 (abc) \u05d0"),  # brackets are mirrored, UAX 9 rule L4
        ("abc (\u05d0\u05d1) x", "abc (\u05d1\u05d0) x"),
    ],
)
def test_a_line_is_turned_as_it_stands_on_paper(line, on_paper):
    assert in_print_order(line) == on_paper


def test_a_line_reads_from_the_side_of_its_paragraph():
    assert in_print_order("12 \u05d0", paragraph="\u05d1 12 \u05d0") == "\u05d0 12"
    assert not reads_from_right("12 abc")


def test_lao_does_not_print_though_the_font_has_some_of_it():
    assert font_metrics().has("\u0e81")
    assert missing("\u0e81", font_metrics().has) == "\u0e81"


def test_each_text_with_a_gap_is_told():
    label = short_flat(scion="\u65e5\u672c A\u65e5", rootstock="Żółty \u200b\x07", grafters="Ana \U0001f345")
    assert [(gap.text, gap.characters) for gap in gaps_of(label)] == [
        ("\u65e5\u672c A\u65e5", "\u65e5\u672c"),
        ("Ana \U0001f345", "\U0001f345"),
    ]


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.name)
@pytest.mark.parametrize("stock", ["roll-57x32", "stake-25x125"])
def test_no_empty_box_is_ever_printed(script, stock):
    """Every glyph of the page is one of the font's own, none the empty box that a font keeps for the rest."""
    label = short_flat(scion=script.sample[:12], rootstock=script.sample[-12:])
    (page,) = pypdfium2.PdfDocument(render_labels([label], STOCKS[stock]))
    said = page.get_textpage().get_text_range()
    assert not set(said) & set("\u25a1\ufffd\uffff\x00")
    if script.name in PRINT:
        assert "_" not in said
    else:
        assert "___" in said
