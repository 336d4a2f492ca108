import pytest

from nursery.labels import STOCKS, Rect, positions

SHEET = STOCKS["a4-70x37"]  # 3 across, 8 down, 24 a page


def test_fills_row_by_row_from_the_top_left():
    corners = [(rect.x_mm, rect.y_mm) for _, rect in positions(SHEET, 4)]
    assert corners == [(0, 0.5), (70, 0.5), (140, 0.5), (0, 37.5)]


def test_starts_where_a_part_used_sheet_is_still_whole():
    page, rect = next(positions(SHEET, 1, start=5))
    assert (page, rect) == (1, Rect(70, 37.5, 70, 37))


def test_goes_on_at_the_top_of_the_next_page():
    places = list(positions(SHEET, 3, start=24))
    assert [page for page, _ in places] == [1, 2, 2]
    assert (places[1][1].x_mm, places[1][1].y_mm) == (0, 0.5)


@pytest.mark.parametrize("name", STOCKS)
def test_every_start_is_the_tail_of_the_whole_sheet(name):
    stock = STOCKS[name]
    whole = list(positions(stock, stock.per_page))
    for start in range(1, stock.per_page + 1):
        assert list(positions(stock, stock.per_page - start + 1, start=start)) == whole[start - 1 :]


def test_every_label_on_a_roll_is_a_page():
    assert [page for page, _ in positions(STOCKS["roll-57x32"], 3)] == [1, 2, 3]


def test_no_labels_take_no_place():
    assert list(positions(SHEET, 0)) == []


@pytest.mark.parametrize("start", [0, -1, 25])
def test_names_the_range_of_starts_at_once(start):
    with pytest.raises(ValueError, match=rf"start must be from 1 to 24 on a4-70x37, got {start}"):
        positions(SHEET, 1, start=start)


def test_refuses_a_negative_count():
    with pytest.raises(ValueError, match="count must be at least 0, got -1"):
        positions(SHEET, -1)


@pytest.mark.parametrize(
    ("other", "holds", "overlaps"),
    [
        (Rect(1, 1, 8, 8), True, True),
        (Rect(0, 0, 10, 10), True, True),
        (Rect(5, 5, 10, 10), False, True),
        (Rect(10, 0, 5, 5), False, False),
        (Rect(0, -5, 10, 5), False, False),
    ],
)
def test_rectangles_hold_and_overlap(other, holds, overlaps):
    assert Rect(0, 0, 10, 10).holds(other) is holds
    assert Rect(0, 0, 10, 10).overlaps(other) is overlaps
