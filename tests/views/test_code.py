"""What the address on a label leads to."""

import random

import pytest

from nursery.calc.codes import new_code, spoken
from tests.factories import make_place, make_run, make_sowing


@pytest.mark.parametrize(
    "make", [make_sowing, make_place, lambda: make_run().flat], ids=["sowing", "place", "flat"]
)
@pytest.mark.parametrize(
    "written", [str, str.lower, spoken], ids=["as printed", "lower case", "with its hyphen"]
)
def test_opens_the_page_of_whatever_bears_the_code(crew, make, written):
    code = make().code
    answer = crew.get(f"/{written(code)}")
    assert answer.status_code == 200
    assert spoken(code) in answer.content.decode()


def test_a_code_that_nothing_bears_says_so(crew):
    code = new_code("P", random.Random(5))
    answer = crew.get(f"/{code}")
    assert answer.status_code == 404
    assert "nothing in this book bears it" in answer.content.decode()


def test_asks_for_a_login_and_comes_back(stranger, alice):
    code = make_run().flat.code
    assert stranger.get(f"/{code}").url == f"/login?next=/{code}"
