"""Two tablets on one flat: what the one marks the other sees, and where they disagree the flat says so."""

import pytest


@pytest.fixture
def two(farm, new_tablet):
    """Bob's tablet and Dora's on the same flat."""
    return [new_tablet(name).opens(farm.codes[0]) for name in ("bob", "dora")]


def sees(tablet, cell, state, within=5000):
    seen = "([cell, state]) => document.querySelector(`.cell[data-cell='${cell}']`).dataset.state === state"
    tablet.page.wait_for_function(seen, arg=[str(cell), state], timeout=within)


def test_each_sees_what_the_other_marks_within_5_s(farm, two):
    bob, dora = two
    bob.taps(5)
    sees(dora, 5, "dead")
    dora.taps(17)
    sees(bob, 17, "dead")
    bob.touches("#check-undo").settles()
    sees(dora, 5, "unmarked")
    dora.drains()
    assert farm.look("proof") == []


def test_seen_alive_against_a_death_not_known_is_a_disagreement(farm, two):
    """Dora closes without a word of A5, and had not heard that Bob found it dead."""
    bob, dora = two
    dora.offline()
    bob.taps(5).drains()
    dora.taps(6).touches("#check-close")
    dora.page.wait_for_timeout(300)
    assert farm.look("disputed", code=farm.codes[0]) == []
    dora.offline(False)
    dora.page.wait_for_url("**?closed=*", timeout=30_000)
    assert farm.look("disputed", code=farm.codes[0]) == ["5"]
    assert farm.look("states")[farm.codes[0]]["5"] == "dead"  # the worse counts
    assert "disagree" in dora.page.locator("main").inner_text()
    assert farm.look("proof") == []


def test_seen_alive_by_one_who_knew_of_the_death_is_none(farm, two):
    bob, dora = two
    bob.taps(5)
    sees(dora, 5, "dead")
    dora.taps(6).touches("#check-close").page.wait_for_url("**?closed=*", timeout=30_000)
    assert farm.look("disputed", code=farm.codes[0]) == []


def states(tablet):
    return tablet.page.evaluate("""() => Object.fromEntries(
      [...document.querySelectorAll(".cell[data-cell]")].map(({ dataset }) => [dataset.cell, dataset.state]),
    )""")


def test_both_marked_offline_and_end_the_same_on_both(farm, two, came_once):
    bob, dora = two
    for tablet in two:
        tablet.offline()
    bob.taps(5, 6).touches('[data-mode="wilting"]').taps(7).touches("#check-undo").settles()
    dora.touches('[data-mode="wilting"]').taps(5, 8).touches('[data-mode="dead"]').taps(7, 9)
    before = bob.waits(4).waiting() + dora.waits(4).waiting()
    assert farm.look("marks") == []
    dora.offline(False).drains()
    bob.offline(False).drains()
    came_once(*before)
    book = farm.look("states")[farm.codes[0]]
    for tablet in two:
        sees(tablet, 5, "dead", within=8000)
        sees(tablet, 7, "dead", within=8000)
        sees(tablet, 8, "wilting", within=8000)
        assert states(tablet) == book
    assert farm.look("disputed", code=farm.codes[0]) == ["5", "7"]
    assert [one.page.locator("[data-disagree]").count() for one in two] == [2, 2]


def test_a_disagreement_is_settled_by_either(farm, two):
    bob, dora = two
    for tablet in two:
        tablet.offline()
    bob.taps(5)
    dora.touches('[data-mode="wilting"]').taps(5)
    for tablet in two:
        tablet.offline(False).drains()
    bob.page.wait_for_selector("[data-disagree]", timeout=8000)
    bob.touches('.cell[data-cell="5"]').touches('[data-settle="firm"]').settles().drains()
    sees(dora, 5, "firm", within=8000)
    assert farm.look("disputed", code=farm.codes[0]) == []
    assert len(farm.look("marks")) == 3
    assert farm.look("proof") == []
