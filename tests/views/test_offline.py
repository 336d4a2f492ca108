"""The page that is kept for where there is no network and nothing was taken along."""

import re

from django.urls import reverse


def test_says_what_is_the_matter_and_what_to_do(stranger):
    answer = stranger.get(reverse("offline"))
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "No network, and nothing was taken along" in text
    assert re.search(r'<a class="button button-main" href="">Try again</a>', text)  # where one was going


def test_is_the_same_whoever_asks(stranger, crew, tablet):
    pages = {client.get(reverse("offline")).content for client in (stranger, crew, tablet)}
    assert len(pages) == 1
    assert b"csrf" not in pages.pop()


def test_takes_no_form(stranger):
    assert stranger.post(reverse("offline")).status_code == 405
