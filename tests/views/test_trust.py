"""How to trust the farm's certificate: own HTTPS, a proxy's, or none."""

import re
from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.serialization import Encoding
from django.urls import reverse

from nursery.actions.https_names import parsed_name
from nursery.actions.https_root import ensure_root
from nursery.actions.plain_door import fingerprint
from nursery.views import trust as trust_view
from nursery.views.trust import door_page, qr_drawing


@pytest.fixture
def own_https(settings, tmp_path):
    """The program speaks HTTPS with the root that is returned, and plain HTTP on port 8000."""
    settings.DATA_DIR, settings.PLAIN_PORT = tmp_path, 8000
    names = parsed_name("localhost")
    root = ensure_root(tmp_path / "https", names=names, now=datetime.now(UTC))
    return root.certificate.public_bytes(Encoding.DER)


def page(client, **headers):
    return client.get(reverse("trust"), headers=headers).content.decode()


def test_leads_a_tablet_to_the_plain_port_of_the_same_host(grower, own_https):
    text = page(grower, host="192.168.1.20:8443")
    assert '<code class="trust-address">http://192.168.1.20:8000/trust</code>' in text
    assert fingerprint(own_https) in text
    assert "http://[fd00::7]:8000/trust" in page(grower, host="[fd00::7]:8443")


@pytest.mark.parametrize("host", ["localhost:8443", "127.0.0.1:8443", "[::1]:8443"])
def test_names_the_address_on_the_network_where_only_this_machine_was_asked_for(
    grower, own_https, monkeypatch, host
):
    monkeypatch.setattr(trust_view, "lan_address", lambda _host: "192.168.1.20")
    assert "http://192.168.1.20:8000/trust" in page(grower, host=host)


def test_warns_of_the_key_and_says_what_is_forgotten_most(grower, own_https):
    text = page(grower)
    assert "Who holds the key" in text
    assert "in no copy of the book" in text
    assert "<strong>Turn on full trust:</strong>" in text


def test_says_that_nothing_has_to_be_done_behind_a_proxy(grower, settings):
    settings.HTTPS = True
    text = page(grower)
    assert "Nothing has to be done" in text
    assert "trust-symbol" not in text


def test_says_how_to_begin_where_there_is_no_https(grower):
    assert "manage.py start --https" in page(grower)


def test_takes_no_form(grower):
    assert grower.post(reverse("trust")).status_code == 405


def test_a_crew_member_may_read_it(client, bob):
    client.force_login(bob)
    assert client.get(reverse("trust")).status_code == 200


def test_the_plain_page_needs_neither_login_nor_farm():
    """No database is at hand here: what asked for it would fail."""
    text = door_page(address="https://farm:8443", plain="http://farm:8000", fingerprint="AB CD")
    assert 'data-address="https://farm:8443"' in text
    assert 'href="http://farm:8000/farm-root.crt"' in text
    assert "AB CD" in text


def test_the_symbol_reads_as_the_address():
    import zxingcpp
    from PIL import Image

    address = "http://192.168.1.20:8000/trust"
    drawn = qr_drawing(address)
    image = Image.new("L", (drawn["side"], drawn["side"]), 255)
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\3z", drawn["path"]):
        for column in range(int(x), int(x) + int(length)):
            image.putpixel((column, int(y)), 0)
    big = image.resize((image.width * 6, image.height * 6), Image.NEAREST)
    assert [found.text for found in zxingcpp.read_barcodes(big)] == [address]
