"""Codes are given out once."""

import random

import pytest
from django.utils import timezone

from nursery.actions import codes
from nursery.calc.codes import new_code
from nursery.models import Flat, PrintedCode
from tests.factories import make_flat

pytestmark = pytest.mark.django_db


def test_many_codes_are_different():
    assert len(set(codes.issue_codes(codes.FLAT, 1200))) == 1200


def test_codes_that_are_borne_or_printed_are_passed_over(monkeypatch):
    flat = make_flat()
    printed = new_code("F", random.Random(1))
    PrintedCode.objects.create(code=printed, printed_at=timezone.now())
    drawn = iter([flat.code, printed, "F000001", printed, "F000002", "F000003"])
    monkeypatch.setattr(codes, "new_code", lambda kind, rng: next(drawn))
    issued = codes.issue_codes(codes.FLAT, 2)
    assert set(issued) <= {"F000001", "F000002", "F000003"}
    assert len(issued) == 2
    assert not Flat.objects.filter(code__in=issued).exists()
