"""Codes: Crockford's base 32 with its check character, reading, and help with a wrong entry."""

import csv
import random
import string
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc import codes
from nursery.calc.codes import CodeError, near_codes, new_code, read_code, spoken

DATA = Path(__file__).parents[1] / "data"

kinds = st.sampled_from(codes.KINDS)
valid_codes = st.builds(lambda kind, seed: new_code(kind, random.Random(seed)), kinds, st.integers())
places = st.integers(0, codes.CODE_LENGTH - 1)


def published_checks() -> list[tuple[int, str]]:
    """Source: base32-crockford 0.3.0, an independent program for Crockford's base 32."""
    with (DATA / "check_characters.csv").open() as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return [(int(row["input"]), row["output"]) for row in rows if row["scheme"] == "crockford"]


def reason_of(text: str) -> str:
    with pytest.raises(CodeError) as caught:
        read_code(text)
    return caught.value.reason


@pytest.mark.parametrize(("number", "output"), published_checks())
def test_agrees_with_published_check_characters(number, output):
    assert codes.encode(number) + codes.check_character(number) == output


def test_all_published_cases_are_read():
    assert len(published_checks()) == 6


def test_knows_all_37_check_characters_in_order():
    # Source: crockford.com/base32.html, table of symbols, values 0 to 36.
    expected = "0123456789ABCDEFGHJKMNPQRSTVWXYZ*~$=U"
    assert "".join(codes.check_character(number) for number in range(37)) == expected


def test_the_worked_example_of_the_module_holds():
    assert int("16J".replace("J", "I"), 32) == 1234  # Python's own base 32 has I for 18
    assert codes.encode(1234) + codes.check_character(1234) == "16JD"


@given(st.integers(0, 2**80))
def test_encode_agrees_with_python_base_32(number):
    to_python = str.maketrans(codes.ALPHABET, string.digits + string.ascii_uppercase[:22])
    assert int(codes.encode(number).translate(to_python), 32) == number


@pytest.mark.parametrize("function", [codes.encode, codes.check_character])
def test_refuses_negative_numbers(function):
    with pytest.raises(ValueError, match="number must be at least 0, got -1"):
        function(-1)


@given(kinds, st.integers())
def test_a_new_code_reads_back_as_itself(kind, seed):
    code = new_code(kind, random.Random(seed))
    assert read_code(code) == code
    assert codes.kind_of(code) == kind


@given(valid_codes)
def test_a_new_code_fits_the_alphanumeric_mode_and_the_alphabet(code):
    assert len(code) == 7
    assert set(code) <= set(codes.ALPHABET)


def test_new_code_draws_again_while_the_check_is_a_sign():
    first = codes._VALUES["F"] * 32**5
    to_sign = next(n for n in range(37) if codes.check_character(first + n) == "*")
    to_plain = next(n for n in range(37) if codes.check_character(first + n) == "7")

    class Scripted:
        draws = [to_sign, to_sign, to_plain]

        def randrange(self, stop: int, /) -> int:
            return self.draws.pop(0)

    rng = Scripted()
    assert new_code("F", rng).endswith("7")
    assert rng.draws == []


def test_the_generator_decides_the_code():
    assert new_code("F", random.Random(4)) == new_code("F", random.Random(4))
    assert len({new_code("F", random.Random(seed)) for seed in range(50)}) == 50


@pytest.mark.parametrize("kind", ["", "f", "X", "FS"])
def test_refuses_an_unknown_kind(kind):
    with pytest.raises(ValueError, match="kind must be one of F, S, P"):
        new_code(kind, random.Random(1))


@given(valid_codes, places, st.sampled_from(codes.ALPHABET))
def test_every_wrong_character_shows(code, place, character):
    wrong = code[:place] + character + code[place + 1 :]
    if wrong != code:
        assert reason_of(wrong) == "check"


@given(valid_codes, st.integers(0, 5))
def test_every_exchange_of_different_neighbours_shows(code, place):
    wrong = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    if wrong != code:
        assert reason_of(wrong) == "check"


def test_look_alikes_are_forgiven():
    assert read_code("SOILOOY") == read_code("soil-ooy") == "S01100Y"


@pytest.mark.parametrize(
    "text",
    ["F3K7QNX", "f3k7qnx", "F3K-7QNX", " f3k 7qnx\n", "F-3-K-7-Q-N-X", "F3K\u20137QNX", "F3K\u00a07QNX"],
)
def test_case_spaces_and_hyphens_are_forgiven(text):
    assert read_code(text) == "F3K7QNX"


@pytest.mark.parametrize(
    "text",
    [
        "HTTP://192.168.1.5:8000/F3K7QNX",
        "http://192.168.1.5:8000/f3k7qnx/check",
        " https://farm.example/takebook/F3K-7QNX/?next=/S01100Y#S01100Y",
        "192.168.1.5:8000/F3K7QNX",
        "/F3K7QNX/",
        "http://S01100Y/F3K7QNX",
    ],
)
def test_picks_the_code_out_of_an_address(text):
    assert read_code(text) == "F3K7QNX"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "empty"),
        (" - ", "empty"),
        ("http://farm.example/", "empty"),
        ("http://F3K7QNX/", "empty"),
        ("F3K7QN", "length"),
        ("F3K7QNXX", "length"),
        ("http://farm.example/flats/", "length"),
        ("F3K7QUX", "alphabet"),
        ("F3K7Q*X", "alphabet"),
        ("F3K7QNÉ", "alphabet"),
        ("F3K7QN2", "check"),
        ("http://farm.example/F3K7QN2/check", "check"),
        ("123456E", "kind"),
    ],
)
def test_says_why_a_text_is_no_code(text, reason):
    assert reason_of(text) == reason


def test_an_error_keeps_what_was_said():
    with pytest.raises(CodeError, match="F3K7QN: length"):
        read_code("f3k-7qn")
    with pytest.raises(CodeError) as caught:
        read_code("F3K7QUX")
    assert caught.value.said == "U"


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_plainly(text):
    try:
        code = read_code(text)
    except CodeError as error:
        assert error.reason in {"empty", "length", "alphabet", "check", "kind"}
    else:
        assert read_code(code) == code


@given(valid_codes)
def test_the_spoken_form_is_split_after_three_and_reads_back(code):
    assert spoken(code) == code[:3] + "-" + code[3:]
    assert read_code(spoken(code)) == code


@pytest.mark.parametrize("function", [codes.spoken, codes.kind_of])
def test_shows_no_wrong_code_as_if_it_were_one(function):
    with pytest.raises(CodeError):
        function("F3K7QN2")


@given(valid_codes, places, st.sampled_from(codes.ALPHABET + "U*"))
def test_near_codes_hold_the_code_behind_one_wrong_character(code, place, character):
    wrong = code[:place] + character + code[place + 1 :]
    if wrong != code:
        near = near_codes(wrong)
        assert code in near
        assert len(near) <= 13
        assert all(read_code(candidate) == candidate for candidate in near)


@given(valid_codes, st.integers(0, 5))
def test_near_codes_hold_the_code_behind_an_exchange(code, place):
    wrong = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    if wrong != code:
        assert code in near_codes(wrong)


@given(valid_codes)
def test_a_valid_code_has_no_near_codes(code):
    assert near_codes(code) == []


def test_near_codes_read_addresses_and_give_up_on_other_lengths():
    assert "F3K7QNX" in near_codes("http://farm.example/f3k7qn2/check")
    assert near_codes("F3K7QN") == near_codes("") == near_codes("http://farm.example/") == []
