"""The small picture of a flat."""

import re

from nursery.views.small_flat import small_flat


def test_each_place_lies_where_it_is_and_unused_ones_are_left_out():
    svg = small_flat(2, 3, empty=[4], unused=[2], asked=[4, 6], name="Two <dead>")
    cells = re.findall(r'<rect class="([^"]+)" x="(\d+)" y="(\d+)"', svg)
    assert cells == [
        ("small-plant", "1", "1"),
        ("small-plant", "21", "1"),
        ("small-empty small-asked", "1", "11"),
        ("small-plant", "11", "11"),
        ("small-plant small-asked", "21", "11"),
    ]
    assert 'viewBox="-2 -2 34 24"' in svg
    assert 'role="img" aria-label="Two &lt;dead&gt;"' in svg


def test_without_a_name_it_is_passed_over():
    assert 'aria-hidden="true"' in small_flat(1, 1)
