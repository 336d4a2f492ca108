"""The symbols are those of the library, module by module, with the mask that it finds in its own slow way."""

import random

import pytest
from qrcode import QRCode, util
from qrcode.constants import ERROR_CORRECT_M, ERROR_CORRECT_Q

from nursery.labels.qr import ALPHANUMERIC, symbol
from nursery.labels.qr_mask import penalty

LEVELS = {"M": ERROR_CORRECT_M, "Q": ERROR_CORRECT_Q}


def by_the_library(address, level):
    mode = util.MODE_ALPHA_NUM if ALPHANUMERIC.issuperset(address) else util.MODE_8BIT_BYTE
    code = QRCode(error_correction=LEVELS[level], border=0)
    code.add_data(util.QRData(address.encode(), mode=mode), optimize=0)
    code.make(fit=True)
    return "\n".join("".join("01"[bool(dark)] for dark in row) for row in code.modules)


@pytest.mark.parametrize("level", LEVELS)
def test_every_module_is_as_the_library_sets_it(level):
    rng = random.Random(7)
    for length in (1, 9, 20, 31, 31, 32, 35, 38, 47, 60, 90, 150, 200, 400):
        for alphabet in ("ABCXYZ0123456789:/.", "abcdefgh:/.0?=&"):
            address = "".join(rng.choices(alphabet, k=length))
            assert symbol(address, level).rows == by_the_library(address, level), address


@pytest.mark.parametrize("side", [21, 25, 29, 33, 57])
def test_the_score_of_any_picture_is_the_library_s(side):
    rng = random.Random(side)
    for dark_share in (0.0, 0.1, 0.35, 0.5, 0.7, 0.95, 1.0):
        rows = [[rng.random() < dark_share for _ in range(side)] for _ in range(side)]
        modules = sum(1 << y * side + x for y in range(side) for x in range(side) if rows[y][x])
        assert penalty(modules, side) == util.lost_point(rows)


def test_a_row_of_eight_alike_costs_six():
    # ISO/IEC 18004: five alike cost N1 = 3, each further one 1 more. On a chess board nothing else scores:
    # no two by two are alike, no finder shows, and 224 of 441 modules are dark, 50.8 %.
    side = 21
    chess = [[(x + y) % 2 == 1 for x in range(side)] for y in range(side)]
    chess[0][:8] = [True] * 8
    modules = sum(1 << y * side + x for y in range(side) for x in range(side) if chess[y][x])
    assert penalty(modules, side) == 6
