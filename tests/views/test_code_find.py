import random

import pytest
from django.urls import reverse

from nursery.calc.codes import ALPHABET, near_codes, new_code, spoken
from nursery.models import Flat, PrintedCode
from tests.factories import (
    GRAFTED_AT,
    make_cultivar,
    make_flat,
    make_pairing,
    make_run,
    make_session,
    make_sowing,
)

UNBORNE = new_code("F", random.Random(5))
WITH_LOOK_ALIKES = next(code for code in near_codes("F010101") if code[0] == "F")


def slip(code):
    """Return the code with a wrong last character."""
    return code[:-1] + next(c for c in ALPHABET if c != code[-1])


def find(client, text):
    return client.get(reverse("code-find"), {"code": text})


@pytest.mark.parametrize(
    "typed", [str, str.lower, spoken, lambda c: f" {c[:3]} {c[3:]} ", lambda c: f"HTTP://192.0.2.7:8000/{c}"]
)
def test_opens_what_was_typed_or_scanned(crew, typed):
    flat = make_flat()
    answer = find(crew, typed(flat.code))
    assert answer.status_code == 302
    assert answer.url == f"/{flat.code}"


def test_forgives_look_alikes(crew):
    Flat.objects.filter(pk=make_flat().pk).update(code=WITH_LOOK_ALIKES)
    answer = find(crew, WITH_LOOK_ALIKES.replace("0", "O").replace("1", "l"))
    assert answer.url == f"/{WITH_LOOK_ALIKES}"


def test_a_wrong_code_names_the_flat_one_slip_away(crew):
    pairing = make_pairing(make_cultivar("Brass Kettle"), make_cultivar("Old Fence"))
    run = make_run(pairing=pairing)
    answer = find(crew, slip(run.flat.code))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert f'href="/{run.flat.code}"' in text
    assert "Brass Kettle on Old Fence, grafted 2 March 2026" in text


def test_a_wrong_code_names_a_sowing_one_slip_away(crew):
    sowing = make_sowing()
    assert f'href="/{sowing.code}"' in find(crew, slip(sowing.code)).content.decode()


def test_a_wrong_code_names_a_label_printed_ahead_one_slip_away(crew):
    PrintedCode.objects.create(code=UNBORNE, printed_at=GRAFTED_AT)
    text = find(crew, slip(UNBORNE)).content.decode()
    assert f'href="/{UNBORNE}"' in text and "printed ahead" in text


def test_a_wrong_code_names_no_flat_that_is_further_away(crew):
    make_flat()
    text = find(crew, "F3K7QN").content.decode()
    assert "this has 6" in text
    assert "One slip away" not in text


@pytest.mark.parametrize("text", ["", "   ", "<b>F</b>", "x" * 300])
def test_what_is_no_code_at_all_is_refused_with_the_reason(crew, text):
    answer = find(crew, text)
    assert answer.status_code == 422
    assert "errorlist" in answer.content.decode()
    assert "<b>F</b>" not in answer.content.decode()


def test_a_code_that_nothing_bears_says_so(crew):
    answer = find(crew, UNBORNE)
    assert answer.status_code == 404
    assert "nothing in this book bears it" in answer.content.decode()


def test_a_code_printed_ahead_is_offered_at_each_open_session(crew):
    PrintedCode.objects.create(code=UNBORNE, printed_at=GRAFTED_AT)
    session = make_session()
    text = find(crew, UNBORNE).content.decode()
    assert f"{reverse('bench-put-on', args=[session.key])}?code={UNBORNE}" in text
    assert crew.get(reverse("bench-put-on", args=[session.key]), {"code": UNBORNE}).status_code == 200


def test_a_code_printed_ahead_needs_a_session_first(crew):
    PrintedCode.objects.create(code=UNBORNE, printed_at=GRAFTED_AT)
    assert "Open a session at the bench" in find(crew, UNBORNE).content.decode()


def test_a_printed_code_in_use_is_not_offered(crew):
    PrintedCode.objects.create(code=UNBORNE, printed_at=GRAFTED_AT, used_at=GRAFTED_AT)
    assert "printed ahead" not in find(crew, UNBORNE).content.decode()


def test_a_mistyped_address_helps_like_a_mistyped_code(crew):
    flat = make_flat()
    answer = crew.get(f"/{slip(flat.code)}")
    assert answer.status_code == 422
    assert f'href="/{flat.code}"' in answer.content.decode()


def test_an_address_that_is_no_code_is_not_found(crew):
    assert crew.get("/nothing-here").status_code == 404


def test_only_reads(crew):
    assert crew.post(reverse("code-find")).status_code == 405


def test_asks_for_a_login(stranger):
    assert find(stranger, UNBORNE).url.startswith(reverse("login"))


def test_helps_with_a_bounded_number_of_queries(crew, django_assert_max_num_queries):
    runs = [make_run(places=[1]) for _ in range(20)]
    with django_assert_max_num_queries(12):
        find(crew, slip(runs[0].flat.code))
