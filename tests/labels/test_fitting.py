"""Fitting with an invented font in which every character is half as wide as it is high."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.labels.fitting import Paragraph, fit_column, printable


class HalfWide:
    def width_em(self, text, *, bold):
        return 0.5 * len(text)

    def has(self, character):
        return character < "\u0500" or character in "…□"


FONT = HalfWide()
NAME = Paragraph(text="", size_pt=10, least_pt=6, lines=2)


def fit(text, *, width_pt=50.0, height_pt=200.0, **wishes):
    return fit_column([replace(NAME, text=text, **wishes)], FONT, width_pt=width_pt, height_pt=height_pt)


def test_leaves_a_short_text_as_wished():
    (line,) = fit("ten chars.")  # 10 x 5 pt = 50 pt
    assert (line.text, line.size_pt, line.width_pt) == ("ten chars.", pytest.approx(10), pytest.approx(50))


def test_shrinks_a_little_rather_than_take_another_line():
    (line,) = fit("eleven char")  # 50 pt / 11 / 0.5 = 9.09 pt
    assert line.size_pt == pytest.approx(9.09, abs=0.01)


def test_wraps_at_a_space_when_it_would_shrink_too_far():
    lines = fit("a name of more")  # one line would need 7.1 pt, less than 8
    assert [(line.text, line.size_pt) for line in lines] == [("a name of", 10), ("more", 10)]


def test_shrinks_to_stay_on_two_lines():
    lines = fit("aaaaaa bbbbbb cccccc ddd")  # at 10 pt only one word a line
    assert [line.text for line in lines] == ["aaaaaa bbbbbb", "cccccc ddd"]
    assert 6 < lines[0].size_pt <= 50 / 6.5


def test_ends_with_an_ellipsis_when_all_else_fails():
    lines = fit("word " * 20)  # 16 characters a line at 6 pt
    assert [(line.text, line.size_pt) for line in lines] == [("word word word", 6), ("word word word…", 6)]


def test_breaks_a_word_wider_than_the_column():
    assert [line.text for line in fit("x" * 31)] == ["x" * 16, "x" * 15]  # 16 a line at 6.25 pt


def test_shrinks_the_whole_column_when_it_is_too_high():
    column = [replace(NAME, text="one"), replace(NAME, text="two", size_pt=20)]
    sizes = [line.size_pt for line in fit_column(column, FONT, width_pt=50, height_pt=30)]
    assert sizes == [8, 16]  # 36 pt high as wished, 28.8 at 80 %


def test_gives_up_second_lines_before_whole_lines():
    column = [replace(NAME, text="name"), replace(NAME, text="many people here or so", may_go=1)]
    lines = fit_column(column, FONT, width_pt=50, height_pt=15)
    assert [line.text for line in lines] == ["name", "many people her…"]


def test_leaves_out_first_what_matters_least():
    column = [replace(NAME, text=text, may_go=rank) for text, rank in (("a", 0), ("b", 2), ("c", 1))]
    lines = fit_column(column, FONT, width_pt=50, height_pt=15)
    assert [line.text for line in lines] == ["a", "c"]


def test_says_when_what_must_stay_does_not_fit():
    with pytest.raises(ValueError, match="too small"):
        fit("a", height_pt=7)


def test_never_cuts_what_must_be_whole():
    with pytest.raises(ValueError, match="too narrow for F3K-7QNX"):
        fit("F3K-7QNX", width_pt=20, lines=1, whole=True)


def test_skips_empty_paragraphs():
    assert fit_column([NAME, replace(NAME, text="a")], FONT, width_pt=50, height_pt=8)[0].text == "a"


@pytest.mark.parametrize(
    ("text", "clean"),
    [
        ("  a \n\t b\u00a0c ", "a b c"),
        ("Rˇezˇ e\u0301", "Rˇezˇ é"),
        ("tomate 日 \U0001f345", "tomate ___ ___"),
        ("日本トマト", "____________"),
        ("soft\u00adhyphen\u200b", "softhyphen"),
        ("bell\x07", "bell"),
        ("\ud800", "___"),
    ],
)
def test_prints_what_the_font_has_and_a_line_to_write_on_for_the_rest(text, clean):
    assert printable(text, FONT) == clean


@given(text=st.text(max_size=150), width=st.floats(10, 200), lines=st.integers(1, 3))
def test_no_line_is_wider_than_the_column_and_no_text_is_lost(text, width, lines):
    clean = printable(text, FONT)
    set_lines = fit(clean, width_pt=width, lines=lines) if clean else []
    assert all(line.width_pt <= width + 1e-3 for line in set_lines)
    assert len(set_lines) <= lines
    shown = "".join(line.text for line in set_lines).replace(" ", "")
    whole = clean.replace(" ", "")
    assert shown == whole or (shown.endswith("…") and whole.startswith(shown[:-1].rstrip("·,")))
