"""The drawing of a flat: what is on it, and that it is said as well as shown."""

from html.parser import HTMLParser

import pytest
from django.utils.translation import override

from nursery.views.drawing import (
    DrawnCell,
    FlatDrawing,
    cell_id,
    draw_flat,
    without_plants,
)


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags = []

    def handle_starttag(self, tag, attrs):
        self.tags.append({"tag": tag, **dict(attrs)})


def tags(html, css_class):
    parser = _Tags()
    parser.feed(html)
    return [tag for tag in parser.tags if css_class in (tag.get("class") or "").split()]


def drawn(cells, rows=2, columns=3, **fields):
    return draw_flat(FlatDrawing(rows=rows, columns=columns, cells=cells, **fields))


def test_the_id_of_a_regraft_names_its_order():
    assert (cell_id(17), cell_id(17, 2)) == ("17", "17.2")


def test_every_place_is_drawn_once_and_rows_and_columns_are_named():
    html = drawn(without_plants(range(1, 7)), taps=True)
    assert len(tags(html, "cell")) == 6
    assert len(tags(html, "flat-col")) == 3
    assert len(tags(html, "flat-row")) == 2
    box = tags(html, "flat")[0]
    assert (box["data-rows"], box["data-columns"]) == ("2", "3")


@pytest.mark.parametrize(
    ("cell", "name"),
    [
        (DrawnCell("unmarked", "1"), "A1, alive"),
        (DrawnCell("firm", "1"), "A1, alive"),
        (DrawnCell("wilting", "1"), "A1, wilting"),
        (DrawnCell("dead", "1"), "A1, dead"),
        (DrawnCell("dead", "1", before="dead"), "A1, dead since an earlier check"),
        (DrawnCell("gone", "1"), "A1, gone"),
        (DrawnCell("blank"), "A1, no plant"),
    ],
)
def test_a_cell_that_can_be_tapped_says_where_and_how_it_is(cell, name):
    first = tags(drawn({1: cell}, taps=True), "cell")[0]
    assert (first["tag"], first["aria-label"], first["data-state"]) == ("button", name, cell.state)


def test_a_place_that_nobody_named_is_not_used_and_cannot_be_tapped():
    html = drawn({1: DrawnCell(cell="1")}, taps=True)
    assert [(c["tag"], c["data-state"]) for c in tags(html, "cell")][:2] == [
        ("button", "unmarked"),
        ("span", "unused"),
    ]


def test_a_check_leaves_blanks_out_of_reach():
    html = drawn({1: DrawnCell("blank")}, taps=True, still=("unused", "blank"))
    assert tags(html, "cell")[0]["tag"] == "span"


def test_runs_disagreement_and_the_state_before_show():
    html = drawn(
        {
            1: DrawnCell("dead", "1.2", before="dead", run=2, disagree=True),
            2: DrawnCell("firm", "2", run=9, pressed=True),
        },
        taps=True,
        signs="runs",
    )
    first, second = tags(html, "cell")[:2]
    assert (first["data-cell"], first["data-before"], first["data-run"]) == ("1.2", "dead", "2")
    assert "data-disagree" in first
    assert (second["data-run"], second["aria-pressed"]) == ("1", "true")
    assert "data-disagree" not in second
    assert tags(html, "flat")[0]["data-signs"] == "runs"


def test_a_drawing_that_cannot_be_tapped_is_one_picture_with_words():
    html = drawn({1: DrawnCell(cell="1")}, summary='6 places, "1 alive" <b>')
    grid = tags(html, "flat-grid")[0]
    assert (grid["role"], grid["aria-label"]) == ("img", '6 places, "1 alive" <b>')
    assert tags(html, "cell")[0]["tag"] == "span"
    assert "<b>" not in html


def test_row_letters_and_the_label_corner_are_buttons_where_they_act():
    html = drawn({1: DrawnCell(cell="1")}, taps=True, heads=True)
    head = tags(html, "flat-row")[1]
    assert (head["tag"], head["data-row"], head["aria-label"]) == ("button", "B", "Row B")
    corner = tags(html, "flat-corner")[0]
    assert (corner["tag"], "data-all" in corner) == ("button", True)


def test_a_terse_drawing_leaves_names_to_the_script():
    cells = tags(drawn({1: DrawnCell(cell="1")}, taps=True, terse=True), "cell")
    assert cells[0] == {"tag": "button", "class": "cell", "data-cell": "1", "data-state": "unmarked"}


@pytest.mark.parametrize(
    "cell",
    [
        DrawnCell('firm" onclick="x'),
        DrawnCell("dead before"),
        DrawnCell("firm", '1" x="'),
        DrawnCell("firm", "1", before='x"'),
    ],
)
def test_what_is_no_state_and_no_id_is_never_drawn(cell):
    with pytest.raises(ValueError, match="must"):
        drawn({1: cell}, taps=True)


def test_words_of_a_translation_are_escaped(monkeypatch):
    monkeypatch.setitem(__import__("nursery.views.drawing", fromlist=["x"]).STATE_WORDS, "firm", 'a "<b>"')
    with override("en"):
        first = tags(drawn({1: DrawnCell("firm", "1")}, taps=True), "cell")[0]
    assert first["aria-label"] == 'A1, a "<b>"'
