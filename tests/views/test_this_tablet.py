"""The page that says what this tablet can do: a sentence for whatever its script may find."""

import re
from pathlib import Path

from django.urls import reverse

SCRIPT = Path(__file__).resolve().parent.parent.parent / "static" / "js" / "this-tablet.js"


def page(client, **headers):
    return client.get(reverse("this-tablet"), headers=headers).content.decode()


def test_every_login_may_open_it(client, bob):
    client.force_login(bob)
    assert client.get(reverse("this-tablet")).status_code == 200
    assert client.post(reverse("this-tablet")).status_code == 405


def test_has_a_sentence_for_all_that_the_script_may_find(grower):
    text = page(grower)
    there = {
        ability: set(re.findall(r'data-finding="(\w+)"', part))
        for ability, part in re.findall(r'data-ability="(\w+)">(.*?)</section>', text, re.DOTALL)
    }
    source = SCRIPT.read_text(encoding="utf-8")
    for ability, sentences in there.items():
        body = re.search(rf"const {ability} = .*?\n}};", source, re.DOTALL)[0]
        found = set(re.findall(r'(?:return|\?|:|=>) "(\w+)"|, "(failed)"', body))
        named = {word for pair in found for word in pair if word}
        assert named, ability
        assert named <= sentences, ability
    assert len(there) == 4


def test_leads_to_what_is_missing_and_to_the_old_address_only_where_there_is_one(grower, settings):
    text = page(grower)
    assert reverse("trust") in text
    assert "old address" not in text
    settings.PLAIN_PORT = 8000
    assert 'href="http://192.168.1.20:8000/trust"' in page(grower, host="192.168.1.20:8443")


def test_leaves_room_for_saving_what_waits(grower):
    assert 'id="tablet-export"' in page(grower)
