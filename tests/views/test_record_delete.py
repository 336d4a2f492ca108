"""Deleting records: only what nothing uses, only by a grower."""

import pytest
from django.urls import reverse

from nursery.models import Crop
from nursery.views.record_nouns import NOUNS
from tests.factories import make_crop, make_cultivar
from tests.views.record_data import MAKERS

ACCESS = [("grower", 302), ("crew", 403), ("tablet", 403), ("stranger", 302)]


def address(slug, row):
    return reverse("record-delete", args=[slug, NOUNS[slug].key_of(row)])


@pytest.mark.parametrize("slug", NOUNS)
@pytest.mark.parametrize(("who", "status"), ACCESS)
def test_only_a_grower_deletes(db, request, slug, who, status):
    row = MAKERS[slug](1)
    assert request.getfixturevalue(who).post(address(slug, row)).status_code == status
    assert type(row).objects.filter(pk=row.pk).exists() == (who != "grower")


def test_what_is_in_use_stays_and_its_user_is_named(grower):
    crop = make_crop()
    make_cultivar("Amber", crop=crop)
    response = grower.post(address("crops", crop))
    assert response.status_code == 422
    assert "it is used by 1 cultivar (Amber)" in response.content.decode()
    assert Crop.objects.exists()


def test_wrong_method(grower):
    crop = make_crop()
    assert grower.get(address("crops", crop)).status_code == 405
    assert Crop.objects.exists()


def test_an_unknown_key_is_not_found(grower, db):
    assert grower.post("/records/crops/1/delete").status_code == 404
