"""The codes as the browser reads them: the same as nursery/calc/codes.py, which has the rules."""

import random

import pytest

from nursery.calc.codes import KINDS, CodeError, new_code, read_code, spoken
from tests.browser.conftest import PHONE
from tests.calc.test_codes import published_checks

SIGNS = (
    "0123456789ABCDEFGHJKMNPQRSTVWXYZoilu*~$= -/.:?#\u00a0\u2013\u00ad\u2212\u00df\u0130\ufeff\x1c\U0001f33f"
)


@pytest.fixture
def in_page(open_page, farm, transactional_db):
    """``in_page(name, values)`` calls a function of codes.js for each value."""
    page = open_page(PHONE)
    page.goto("/login")
    call = """async ([name, values]) => {
      const codes = await import("/static/js/codes.js");
      return values.map((value) => codes[name](value));
    }"""
    return lambda name, values: page.evaluate(call, [name, values])


def read_or_nothing(text):
    try:
        return read_code(text)
    except CodeError:
        return ""


def test_check_characters_agree_with_the_published_ones(in_page):
    # Source: base32-crockford 0.3.0, an independent program for Crockford's base 32.
    said = [text for _number, text in published_checks()]
    assert len(said) == 6
    assert in_page("checkCharacter", [text[:-1] for text in said]) == [text[-1] for text in said]


def test_what_a_symbol_or_a_keyboard_gives_is_read_as_the_server_reads_it(in_page):
    rng = random.Random(20261125)
    codes = [new_code(kind, rng) for kind in KINDS for _ in range(40)]
    texts = [change(code, rng) for code in codes for change in CHANGES]
    texts += ["".join(rng.choices(SIGNS, k=rng.randrange(12))) for _ in range(2000)]
    expected = [read_or_nothing(text) for text in texts]
    assert in_page("readCode", texts) == expected
    read = sum(1 for code in expected if code)
    assert 600 < read < len(texts) - 600  # both kinds are among them
    assert in_page("spoken", codes) == [spoken(code) for code in codes]


def one_other(code, rng):
    place = rng.randrange(len(code))
    return code[:place] + rng.choice("0123456789ABCDEFGHJKMNPQRSTVWXYZ") + code[place + 1 :]


CHANGES = [
    lambda code, rng: code,
    lambda code, rng: f" {code[:3]}-{code[3:]}\n".lower(),
    lambda code, rng: code.replace("0", "o").replace("1", rng.choice("iIlL")),
    lambda code, rng: f"HTTP://192.0.2.7:8000/{code}",
    lambda code, rng: f"https://farm.example/{code}/check?day=1#top",
    lambda code, rng: f"/flats/{code[:3]}\u2013{code[3:]}",
    lambda code, rng: f"https://{code}/",
    lambda code, rng: f"{code}7",
    one_other,
    lambda code, rng: code[1:] + code[0],
]
