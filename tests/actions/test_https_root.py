"""The farm's root and the machine's certificate: what is in them, who may read them, when they are made anew.

Read by the library that made them, by Python's ssl in a real handshake, and by the openssl program if there.
"""

import shutil
import ssl
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import ExtendedKeyUsageOID

from nursery.actions.https_names import Names, parsed_name
from nursery.actions.https_root import (
    LEAF_FILE,
    PUBLIC_FILE,
    ROOT_FILE,
    ensure_leaf,
    ensure_root,
    limits_of,
    make_leaf,
    make_root,
    names_of,
)
from nursery.actions.serving import CannotServe

NOW = datetime(2026, 3, 9, 9, 0, tzinfo=UTC)


def named(*texts):
    names = Names(frozenset(), frozenset())
    for text in texts:
        names |= parsed_name(text)
    return names


HOME = named("bench", "bench.local", "localhost", "127.0.0.1", "::1", "192.168.1.20")


@pytest.fixture(scope="module")
def root():
    return make_root(HOME, now=NOW)


@pytest.fixture(scope="module")
def leaf(root):
    return make_leaf(root, HOME, now=NOW)


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "https"


def extension(pair, kind):
    return pair.certificate.extensions.get_extension_for_class(kind)


def test_the_root_is_an_authority_for_ten_years_that_makes_no_others(root):
    certificate = root.certificate
    assert isinstance(certificate.public_key(), ec.EllipticCurvePublicKey)
    assert certificate.public_key().curve.name == "secp256r1"
    basic, usage = extension(root, x509.BasicConstraints), extension(root, x509.KeyUsage)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    assert (usage.critical, usage.value.key_cert_sign, usage.value.crl_sign) == (True, True, True)
    assert not usage.value.digital_signature
    assert certificate.not_valid_before_utc == NOW - timedelta(days=1)
    assert timedelta(days=3650) <= certificate.not_valid_after_utc - NOW <= timedelta(days=3653)


def test_the_root_says_what_it_may_speak_for(root):
    assert extension(root, x509.NameConstraints).critical
    limits = limits_of(root)
    assert "bench" in limits.domains
    later = named(
        "10.3.2.1", "172.31.0.9", "192.168.178.44", "fd12::7", "barn.local", "bench.lan", "localhost"
    )
    assert limits.allowed(later) == later
    assert not limits.allowed(named("8.8.8.8", "2001:4860:4860::8888", "bank.example", "local.example"))


def test_the_leaf_is_what_tablets_ask_for(leaf):
    certificate = leaf.certificate
    assert certificate.not_valid_before_utc == NOW - timedelta(days=1)
    lifetime = certificate.not_valid_after_utc - certificate.not_valid_before_utc
    assert timedelta(days=300) < lifetime <= timedelta(days=397)
    assert list(extension(leaf, x509.ExtendedKeyUsage).value) == [ExtendedKeyUsageOID.SERVER_AUTH]
    assert not extension(leaf, x509.BasicConstraints).value.ca
    assert certificate.signature_hash_algorithm.name == "sha256"
    assert names_of(leaf) == HOME


def test_the_leaf_is_signed_by_the_root(root, leaf):
    leaf.certificate.verify_directly_issued_by(root.certificate)
    identifier = extension(leaf, x509.AuthorityKeyIdentifier).value.key_identifier
    assert identifier == extension(root, x509.SubjectKeyIdentifier).value.digest


def test_a_long_machine_name_still_makes_a_certificate():
    long = named(f"{'a' * 60}.local", "127.0.0.1")
    root = make_root(long, now=NOW)
    assert names_of(make_leaf(root, long, now=NOW)) == long


def test_only_their_owner_may_read_the_keys(folder):
    root = ensure_root(folder, names=HOME, now=NOW)
    ensure_leaf(folder, root, names=HOME, now=NOW)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()}
    assert set(modes) == {ROOT_FILE, LEAF_FILE, PUBLIC_FILE}
    assert modes[ROOT_FILE] == modes[LEAF_FILE] == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert b"PRIVATE KEY" in (folder / ROOT_FILE).read_bytes()
    assert (folder / PUBLIC_FILE).read_bytes() == root.certificate.public_bytes(Encoding.DER)


def made(folder, *, names=HOME, now=NOW):
    """The serial numbers of root and leaf after a look, and whether the leaf was made then."""
    root = ensure_root(folder, names=names, now=now)
    leaf, is_new = ensure_leaf(folder, root, names=names, now=now)
    return root.certificate.serial_number, leaf.certificate.serial_number, is_new


def test_both_are_kept_from_one_start_to_the_next(folder):
    first = made(folder)
    assert first[2]
    assert made(folder, now=NOW + timedelta(days=365)) == (*first[:2], False)


@pytest.mark.parametrize(("days", "is_anew"), [(365, False), (366, True), (500, True), (-30, True)])
def test_the_leaf_is_made_anew_within_a_month_of_its_end_or_before_its_beginning(folder, days, is_anew):
    first, then = made(folder), NOW + timedelta(days=days)
    again = made(folder, now=then)
    assert again[0] == first[0]
    assert (again[1] != first[1], again[2]) == (is_anew, is_anew)


def test_another_address_makes_another_leaf_and_no_other_root(folder):
    first = made(folder)
    moved = made(folder, names=HOME | named("10.0.0.7"))
    assert moved[0] == first[0]
    assert moved[1] != first[1]
    assert moved[2]
    # Back home, or with an address less: the one there is good for that too.
    assert made(folder) == (*moved[:2], False)


def test_what_the_root_may_not_speak_for_is_left_out(folder):
    root = ensure_root(folder, names=HOME, now=NOW)
    leaf, _is_new = ensure_leaf(folder, root, names=HOME | named("farm.example", "8.8.8.8"), now=NOW)
    assert names_of(leaf) == HOME
    assert not made(folder, names=HOME | named("farm.example"))[2]


def test_names_known_from_the_beginning_are_in(folder):
    wide = HOME | named("farm.example", "192.0.2.7")
    root = ensure_root(folder, names=wide, now=NOW)
    assert names_of(ensure_leaf(folder, root, names=wide, now=NOW)[0]) == wide
    assert not limits_of(root).allowed(named("192.0.2.8", "other.example"))


@pytest.mark.parametrize("damage", [b"", b"nothing", b"-----BEGIN CERTIFICATE-----\nAAAA\n"])
def test_a_damaged_leaf_is_made_anew(folder, damage):
    first = made(folder)
    (folder / LEAF_FILE).write_bytes(damage)
    again = made(folder)
    assert (again[0], again[2]) == (first[0], True)


def test_a_leaf_of_another_root_is_made_anew(folder):
    first = made(folder)
    root = ensure_root(folder, names=HOME, now=NOW, anew=True)
    leaf, is_new = ensure_leaf(folder, root, names=HOME, now=NOW)
    assert is_new
    assert root.certificate.serial_number != first[0]
    leaf.certificate.verify_directly_issued_by(root.certificate)


def test_a_root_is_never_replaced_unasked(folder):
    """Every tablet would have to be visited: a damaged root is said in words."""
    made(folder)
    for damage in (b"", (folder / LEAF_FILE).read_bytes()):
        (folder / ROOT_FILE).write_bytes(damage)
        with pytest.raises(CannotServe, match="--https-new-root"):
            ensure_root(folder, names=HOME, now=NOW)


def test_a_root_at_its_end_says_so(folder):
    made(folder)
    with pytest.raises(CannotServe, match=r"comes to its end.*--https-new-root"):
        ensure_root(folder, names=HOME, now=NOW + timedelta(days=3640))


def test_the_leaf_never_outlives_the_root(root):
    late = make_leaf(root, HOME, now=root.certificate.not_valid_after_utc - timedelta(days=90))
    assert late.certificate.not_valid_after_utc == root.certificate.not_valid_after_utc


def shaken(root, leaf, name, tmp_path):
    """Raise what a client says that trusts the root alone and asks for ``name``."""
    file = tmp_path / "leaf.pem"
    file.write_bytes(leaf.as_pem())
    server_context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server_context.load_cert_chain(file)
    client_context = ssl.create_default_context(
        cadata=root.certificate.public_bytes(Encoding.PEM).decode("ascii")
    )
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = client_context.wrap_bio(to_client, to_server, server_hostname=name)
    server = server_context.wrap_bio(to_server, to_client, server_side=True)
    for side in (client, server, client, server):
        try:
            side.do_handshake()
        except ssl.SSLWantReadError:
            continue
    return client.version()


@pytest.fixture(scope="module")
def now_root():
    """Handshakes look at the clock of this machine."""
    return make_root(HOME, now=datetime.now(UTC))


@pytest.mark.parametrize("name", ["localhost", "bench", "bench.local", "127.0.0.1", "::1", "192.168.1.20"])
def test_a_client_that_trusts_the_root_takes_the_certificate(now_root, tmp_path, name):
    leaf = make_leaf(now_root, HOME, now=datetime.now(UTC))
    assert shaken(now_root, leaf, name, tmp_path) == "TLSv1.3"


def test_a_client_refuses_another_name(now_root, tmp_path):
    leaf = make_leaf(now_root, HOME, now=datetime.now(UTC))
    with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
        shaken(now_root, leaf, "192.168.1.21", tmp_path)


@pytest.mark.parametrize("stolen", ["bank.example", "8.8.8.8"])
def test_a_client_refuses_what_a_thief_of_the_key_signs_for_others(now_root, tmp_path, stolen):
    leaf = make_leaf(now_root, named(stolen), now=datetime.now(UTC))
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shaken(now_root, leaf, stolen, tmp_path)


def test_a_client_refuses_a_leaf_after_its_end(tmp_path):
    long_ago = datetime.now(UTC) - timedelta(days=500)
    root = make_root(HOME, now=long_ago)
    with pytest.raises(ssl.SSLCertVerificationError, match="expired"):
        shaken(root, make_leaf(root, HOME, now=long_ago), "localhost", tmp_path)


@pytest.mark.skipif(not shutil.which("openssl"), reason="the openssl program is not installed")
@pytest.mark.parametrize(
    ("names", "verdict"), [(HOME, "OK"), (named("bank.example"), "permitted subtree violation")]
)
def test_openssl_verifies_by_the_strict_rules(now_root, tmp_path, names, verdict):
    (tmp_path / "root.pem").write_bytes(now_root.certificate.public_bytes(Encoding.PEM))
    leaf = make_leaf(now_root, names, now=datetime.now(UTC))
    (tmp_path / "leaf.pem").write_bytes(leaf.certificate.public_bytes(Encoding.PEM))
    command = [
        "openssl",
        "verify",
        "-x509_strict",
        "-purpose",
        "sslserver",
        "-CAfile",
        "root.pem",
        "leaf.pem",
    ]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True)
    assert verdict in ended.stdout + ended.stderr
    assert (ended.returncode == 0) == (verdict == "OK")


def test_an_address_is_compared_as_an_address():
    assert named("::0001") == named("::1")
    assert ip_address("::1") in named("[::1]").addresses
