"""Codes for flats, sowings and places: short, typed without mistakes, told apart at a glance.

A code has six characters of Crockford's base-32 alphabet (the digits and the letters without I, L, O and
U) and one check character. The first character says what the code belongs to: F a flat, S a sowing, P a
place. The other five are random. The six are read as a number, most significant first; the check
character stands for the remainder of that number divided by 37.

Crockford's 37 check characters are the alphabet and the five signs ``* ~ $ = U``. A number whose check
would be one of those five is never given out, so that every code fits the alphanumeric mode of a QR
symbol and every keyboard.

Worked example. ``16J`` is 1 x 1024 + 6 x 32 + 18 = 1234, and 1234 = 33 x 37 + 13. The character for 13 is
D, so the code in full is ``16JD``.

What the check catches. 37 is a prime larger than 32, so it divides neither the difference of two
characters nor a power of 32, nor 32 - 1 = 31. Hence one wrong character always shows, and so do two
different neighbours exchanged, the check character among them: exchanging it with its neighbour would go
unseen only if twice their difference were a multiple of 37. Other mistakes slip through once in about 37.

Source: D. Crockford, "Base 32" (2019), crockford.com/base32.html. The sums above are checked by the tests.
"""

import re
from typing import Protocol

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHECK_ALPHABET = ALPHABET + "*~$=U"
CHECK_MODULUS = 37
FLAT, SOWING, PLACE = "F", "S", "P"
KINDS = (FLAT, SOWING, PLACE)
BODY_LENGTH = 6
CODE_LENGTH = BODY_LENGTH + 1

_VALUES = {character: value for value, character in enumerate(ALPHABET)}
_RANDOM_RANGE = len(ALPHABET) ** (BODY_LENGTH - 1)
_LOOK_ALIKES = str.maketrans("OIL", "011")
# White space and every dash that a keyboard or a word processor puts in its place.
_SEPARATORS = re.compile(r"[\s\-\u00ad\u2010-\u2015\u2212]+")
_SCHEME_AND_HOST = re.compile(r"^\s*[A-Za-z][A-Za-z0-9+.\-]*://[^/?#]*")


class RandomSource(Protocol):
    """What ``new_code`` needs of a generator: ``random.Random`` and ``random.SystemRandom`` have it."""

    def randrange(self, stop: int, /) -> int: ...


class CodeError(ValueError):
    """A text that is no code. ``reason`` is 'empty', 'length', 'alphabet', 'check' or 'kind'.

    ``said`` is the text, plain; for 'alphabet' the first character that no code has.
    """

    def __init__(self, reason: str, said: str) -> None:
        super().__init__(f"{said}: {reason}")
        self.reason = reason
        self.said = said


def check_character(number: int) -> str:
    """Return Crockford's check character of a number >= 0: one of the 37 of ``CHECK_ALPHABET``."""
    if number < 0:
        raise ValueError(f"number must be at least 0, got {number}")
    return CHECK_ALPHABET[number % CHECK_MODULUS]


def encode(number: int) -> str:
    """Return a number >= 0 in Crockford's base 32, without leading zeros and without a check."""
    if number < 0:
        raise ValueError(f"number must be at least 0, got {number}")
    characters = []
    while number:
        number, value = divmod(number, len(ALPHABET))
        characters.append(ALPHABET[value])
    return "".join(reversed(characters)) or "0"


def new_code(kind: str, rng: RandomSource) -> str:
    """Return a random code.

    Parameters
    ----------
    kind : str
        FLAT, SOWING or PLACE.
    rng : RandomSource
        Where the five random characters come from.

    Returns
    -------
    str
        Seven characters, upper case, without separators. About one in seven draws has a sign or U for its
        check and is drawn again. The code may be in use already: that the database must refuse.

    Raises
    ------
    ValueError
        If the kind is none of the three.
    """
    if kind not in KINDS:
        raise ValueError(f"kind must be one of {', '.join(KINDS)}, got {kind!r}")
    first = _VALUES[kind] * _RANDOM_RANGE
    while True:
        number = first + rng.randrange(_RANDOM_RANGE)
        check = check_character(number)
        if check in _VALUES:
            return encode(number) + check


def read_code(text: str) -> str:
    """Return the canonical code in what somebody typed or scanned.

    Parameters
    ----------
    text : str
        A code in any case, with or without spaces and hyphens, O for 0 and I or L for 1 allowed; or an
        address that holds one, such as ``HTTP://192.168.1.5:8000/F3K7QNX/check``.

    Returns
    -------
    str
        Seven characters, upper case, without separators.

    Raises
    ------
    CodeError
        If there is no such code, with what is wrong as its ``reason``.
    """
    if "/" not in text:
        return _read_plain(_plain(text))
    candidates = _parts_of_address(text)
    for candidate in candidates:
        if not _fault(candidate):
            return candidate
    # Of an address, complain about the part that was most probably meant.
    return _read_plain(min(candidates, key=lambda part: abs(len(part) - CODE_LENGTH), default=""))


def kind_of(code: str) -> str:
    """Return FLAT, SOWING or PLACE for a code as ``read_code`` returns it; CodeError for anything else."""
    return _read_plain(code)[0]


def spoken(code: str) -> str:
    """Return a code as it is shown and read aloud, three and four: ``F3K-7QNX``; CodeError if it is none."""
    code = _read_plain(code)
    return f"{code[:3]}-{code[3:]}"


def near_codes(text: str) -> list[str]:
    """Return the valid codes that are one slip away from a wrong entry.

    Parameters
    ----------
    text : str
        What was typed or scanned. Case, separators and look-alikes are forgiven as by ``read_code``.

    Returns
    -------
    list of str
        Valid codes with one character replaced or two neighbours exchanged, sorted, at most 13 (one for
        each of seven places, six for the exchanges). Empty if the entry has not seven characters, or is
        valid: two valid codes are never one slip apart. Whether a code is in use only the database knows.
    """
    entry = _plain(text)
    if "/" in text:
        entry = next((part for part in _parts_of_address(text) if len(part) == CODE_LENGTH), "")
    if len(entry) != CODE_LENGTH:
        return []
    slips = _with_one_replaced(entry) | _with_neighbours_exchanged(entry)
    return sorted(slip for slip in slips if not _fault(slip))


def _plain(text: str) -> str:
    """Return a text without separators, in upper case, look-alikes put right."""
    return _SEPARATORS.sub("", text).upper().translate(_LOOK_ALIKES)


def _parts_of_address(text: str) -> list[str]:
    """Return the non-empty path parts of an address, plain, without scheme, host, query and fragment."""
    path = re.split(r"[?#]", _SCHEME_AND_HOST.sub("", text), maxsplit=1)[0]
    return [part for part in map(_plain, path.split("/")) if part]


def _number(body: str) -> int:
    number = 0
    for character in body:
        number = number * len(ALPHABET) + _VALUES[character]
    return number


def _fault(plain: str) -> str:
    """Return why a plain text is no code, as the reason of a CodeError, or '' if it is one."""
    if not plain:
        return "empty"
    if len(plain) != CODE_LENGTH:
        return "length"
    if any(character not in _VALUES for character in plain):
        return "alphabet"
    if check_character(_number(plain[:BODY_LENGTH])) != plain[BODY_LENGTH]:
        return "check"
    return "" if plain[0] in KINDS else "kind"


def _read_plain(plain: str) -> str:
    reason = _fault(plain)
    if reason == "alphabet":
        raise CodeError(reason, next(character for character in plain if character not in _VALUES))
    if reason:
        raise CodeError(reason, plain)
    return plain


def _with_one_replaced(entry: str) -> set[str]:
    return {
        entry[:place] + character + entry[place + 1 :]
        for place in range(CODE_LENGTH)
        for character in ALPHABET
        if character != entry[place]
    }


def _with_neighbours_exchanged(entry: str) -> set[str]:
    return {
        entry[:place] + entry[place + 1] + entry[place] + entry[place + 2 :]
        for place in range(CODE_LENGTH - 1)
        if entry[place] != entry[place + 1]
    }
