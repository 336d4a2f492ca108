"""The diary, the two who graft, and the pairing that most of it is about."""

import pytest

from tests.diary.book import Diary
from tests.factories import make_worker


@pytest.fixture
def diary(farm, alice):
    return Diary(alice)


@pytest.fixture
def ash(db):
    return make_worker("Ash")


@pytest.fixture
def birch(db):
    return make_worker("Birch")


@pytest.fixture
def amber(diary):
    return diary.pairing("Amber", "Oak")
