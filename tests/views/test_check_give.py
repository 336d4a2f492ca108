"""A check that was made on another flat: which one, both drawn, and the giving."""

import html
import re

import pytest

from nursery.models import Change, Check, Mark
from tests.factories import make_flat, make_run
from tests.views.checking import check_flat


@pytest.fixture
def flats(farm):
    flats = [make_flat(), make_flat()]
    for flat in flats:
        make_run(flat)
    return flats


@pytest.fixture
def check(flats):
    return check_flat(flats[0], {1: "dead", 14: "wilting"})


def address(check):
    return f"/{Check.objects.get(pk=check.pk).flat.code}/check/{check.uuid}/give"


def words(answer):
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split()))


def test_both_flats_are_drawn_as_they_would_be_and_nothing_is_stored(grower, flats, check):
    answer = grower.get(address(check), {"code": flats[1].code})
    text = answer.content.decode()
    there, here = text[text.index('id="flat"') :].split('id="without-it"')
    assert 'data-place="1" data-cell="1" data-state="dead"></span>' in there  # fresh, without a before
    assert 'class="small-empty"' not in here and 'class="small-plant"' in here
    assert "71 alive, 1 of them wilting, 1 dead" in words(answer)
    assert Check.objects.get().flat == flats[0] and not Change.objects.exists()


def test_it_is_given_with_a_reason(grower, flats, check, alice):
    answer = grower.post(address(check), {"code": flats[1].code, "reason": "read the wrong label"})
    assert answer.url == f"/{flats[1].code}/check/{check.uuid}"
    assert Check.objects.get().flat == flats[1]
    assert set(Mark.objects.values_list("cell__flat", flat=True)) == {flats[1].pk}
    change = Change.objects.get()
    assert (change.sent_by, change.reason) == (alice, "read the wrong label")


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("", "This field is required"),
        ("F3K7", "characters"),
        ("F000004", "No flat bears F00-0004"),
        ("own", "one of"),
    ],
)
def test_a_wrong_code_is_answered_in_words(grower, flats, check, code, said):
    code = flats[0].code if code == "own" else code
    answer = grower.post(address(check), {"code": code})
    assert answer.status_code == 422 and said in words(answer)
    assert Check.objects.get().flat == flats[0]


def test_the_page_of_the_check_leads_there_for_a_grower_only(grower, flats, check):
    assert address(check) in grower.get(f"/{flats[0].code}/check/{check.uuid}").content.decode()


@pytest.mark.parametrize(("client", "status"), [("crew", 403), ("tablet", 403), ("stranger", 302)])
@pytest.mark.parametrize("what", ["give", "void", "unvoid"])
def test_growers_only(request, flats, check, client, status, what):
    client = request.getfixturevalue(client)
    answer = client.post(
        f"/{flats[0].code}/check/{check.uuid}/{what}", {"code": flats[1].code, "reason": "why"}
    )
    assert answer.status_code == status
    stored = Check.objects.get()
    assert (stored.flat, stored.is_void) == (flats[0], False)


def test_void_with_a_reason_and_back(grower, flats, check):
    base = f"/{flats[0].code}/check/{check.uuid}"
    assert grower.get(f"{base}/void").status_code == 200
    assert grower.post(f"{base}/void", {"reason": ""}).status_code == 422
    assert grower.post(f"{base}/void", {"reason": "the lamp was off"}).url == base
    assert Check.objects.get().is_void
    page = grower.get(base).content.decode()
    assert "counts for nothing" in page and f"{base}/unvoid" in page and f"{base}/give" not in page
    assert grower.get(f"{base}/unvoid").status_code == 405
    grower.post(f"{base}/unvoid")
    assert not Check.objects.get().is_void


def test_void_twice_is_answered_in_words(grower, flats, check):
    base = f"/{flats[0].code}/check/{check.uuid}"
    grower.post(f"{base}/void", {"reason": "no"})
    assert grower.post(f"{base}/void", {"reason": "no"}).status_code == 422
