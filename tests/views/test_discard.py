"""A flat is discarded, as a loss or not."""

import pytest

from nursery.models import DayCount, StageMove
from tests.views.checking import check_flat
from tests.views.plants import alive, leave_now, planted, words


@pytest.fixture
def flat(farm):
    flat = planted()
    check_flat(flat, dict.fromkeys(range(1, 7), "dead"), days_ago=1)
    return flat


def test_the_page_says_what_it_does_to_the_take(crew, flat):
    said = words(crew.get(f"/{flat.code}/discard"))
    assert "The 66 plants left count as dead." in said
    assert "The 66 plants left leave alive, as culled." in said


@pytest.mark.parametrize(("is_loss", "dead", "gone"), [("yes", 72, 0), ("no", 6, 66)])
def test_discards_and_takes_it_back(crew, flat, is_loss, dead, gone):
    answer = crew.post(f"/{flat.code}/discard", {"is_loss": is_loss, "reason": "Lid left open"})
    said = words(crew.get(answer.url))
    assert ("Discarded as a loss." in said) is (is_loss == "yes")
    assert "Lid left open" in said
    last = DayCount.objects.order_by("-day").first()
    assert (last.alive, last.dead, last.gone) == (0, dead, gone)
    assert "Undo" in said
    assert "stands where it stood" in words(crew.post(f"/{flat.code}/discard/undo", follow=True))
    assert alive(flat) == 66
    assert not StageMove.objects.standing().exists()


def test_what_left_before_stays_gone(crew, flat):
    leave_now(flat, range(7, 67))
    assert "The 6 plants left count as dead." in words(crew.get(f"/{flat.code}/discard"))


def test_invalid_or_twice_stores_nothing(crew, flat):
    answer = crew.post(f"/{flat.code}/discard", {})
    assert (answer.status_code, StageMove.objects.count()) == (422, 0)
    assert "Choose what it means for the take." in words(answer)
    crew.post(f"/{flat.code}/discard", {"is_loss": "yes"})
    answer = crew.post(f"/{flat.code}/discard", {"is_loss": "no"})
    assert answer.status_code == 422
    assert "was discarded already" in words(answer)
    assert StageMove.objects.count() == 1


def test_undo_takes_a_form_and_something_to_undo(crew, flat):
    assert crew.get(f"/{flat.code}/discard/undo").status_code == 405
    assert "is not discarded" in words(crew.post(f"/{flat.code}/discard/undo", follow=True))
