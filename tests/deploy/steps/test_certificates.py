"""Certificates are as RFC 5280 asks, and as phones accept them."""

from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID

from deploy.steps import certificates
from deploy.steps.certificates import Pair, new_authority, new_server, read_pair

NOW = datetime(2026, 8, 14, 9, 30, tzinfo=UTC)
NAMES = ["vines.example.org", "192.0.2.7", "2001:db8::7", "localhost"]


@pytest.fixture(scope="module")
def authority() -> Pair:
    return new_authority("press-house", now=NOW)


@pytest.fixture(scope="module")
def server(authority: Pair) -> x509.Certificate:
    return new_server(authority, NAMES, now=NOW).certificate


def _usages(certificate: x509.Certificate) -> set[str]:
    held = certificate.extensions.get_extension_for_class(x509.KeyUsage)
    assert held.critical
    names = [
        *("digital_signature", "key_encipherment", "key_agreement"),
        *("content_commitment", "data_encipherment", "key_cert_sign", "crl_sign"),
    ]
    return {name for name in names if getattr(held.value, name)}


def test_the_authority_signs_certificates_and_nothing_below_it_does(
    authority: Pair, server: x509.Certificate
) -> None:
    """RFC 5280, 4.2.1.3 and 4.2.1.9."""
    above = authority.certificate.extensions.get_extension_for_class(
        x509.BasicConstraints
    )
    assert (above.critical, above.value.ca, above.value.path_length) == (True, True, 0)
    assert _usages(authority.certificate) == {"key_cert_sign", "crl_sign"}
    below = server.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (below.critical, below.value.ca) == (True, False)
    assert _usages(server) == {"digital_signature"}


def test_the_servers_certificate_is_for_a_server_and_names_every_address(
    server: x509.Certificate,
) -> None:
    """RFC 5280, 4.2.1.6 and 4.2.1.12: addresses are addresses, not names."""
    uses = server.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(uses) == [ExtendedKeyUsageOID.SERVER_AUTH]
    held = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert held.get_values_for_type(x509.DNSName) == ["vines.example.org", "localhost"]
    addresses = [str(one) for one in held.get_values_for_type(x509.IPAddress)]
    assert addresses == ["192.0.2.7", "2001:db8::7"]
    assert certificates.names_in(server) == set(NAMES)


def test_the_chain_is_linked_by_key_identifiers(
    authority: Pair, server: x509.Certificate
) -> None:
    """RFC 5280, 4.2.1.1 and 4.2.1.2."""
    own = authority.certificate.extensions.get_extension_for_class(
        x509.SubjectKeyIdentifier
    ).value
    issuers = server.extensions.get_extension_for_class(x509.AuthorityKeyIdentifier)
    assert issuers.value.key_identifier == own.digest
    assert server.issuer == authority.certificate.subject
    assert certificates.is_signed_by(server, authority)


def test_no_phone_finds_the_servers_certificate_too_long(
    server: x509.Certificate,
) -> None:
    """Both ends count (RFC 5280, 4.1.2.5), and 397 days is the most asked for."""
    lasts = server.not_valid_after_utc - server.not_valid_before_utc
    assert lasts + timedelta(seconds=1) == timedelta(days=397)
    assert server.not_valid_before_utc <= NOW - timedelta(hours=23)


def test_the_servers_certificate_never_outlives_its_authority(authority: Pair) -> None:
    end = authority.certificate.not_valid_after_utc
    late = new_server(authority, NAMES, now=end - timedelta(days=5)).certificate
    assert late.not_valid_after_utc == end


def test_keys_are_on_a_curve_that_every_phone_knows(
    authority: Pair, server: x509.Certificate
) -> None:
    for certificate in (authority.certificate, server):
        key = certificate.public_key()
        assert isinstance(key, ec.EllipticCurvePublicKey)
        assert key.curve.name == "secp256r1"
        assert certificate.signature_algorithm_oid._name == "ecdsa-with-SHA256"


def test_a_long_name_makes_no_certificate_that_breaks_the_standard(
    authority: Pair,
) -> None:
    """RFC 5280 holds a common name to 64 letters."""
    name = ".".join(["a" * 60] * 3)
    made = new_server(authority, [name], now=NOW).certificate
    assert certificates.names_in(made) == {name}
    made = new_authority("b" * 63, now=NOW).certificate
    (common,) = made.subject.get_attributes_for_oid(x509.NameOID.COMMON_NAME)
    assert len(common.value) <= 64


def test_half_a_pair_or_anothers_key_is_refused(authority: Pair) -> None:
    with pytest.raises(ValueError, match="no certificate with its key"):
        read_pair(authority.pem().split(b"-----BEGIN PRIVATE")[0])
    other = new_authority("elsewhere", now=NOW)
    mixed = Pair(certificate=authority.certificate, key=other.key)
    with pytest.raises(ValueError, match="another certificate"):
        read_pair(mixed.pem())


def test_anothers_signature_under_the_same_name_is_noticed(authority: Pair) -> None:
    twin = new_authority("press-house", now=NOW)
    assert twin.certificate.subject == authority.certificate.subject
    theirs = new_server(twin, NAMES, now=NOW).certificate
    assert not certificates.is_signed_by(theirs, authority)


@pytest.mark.parametrize(
    ("days", "out"), [(-2, True), (0, False), (300, False), (365, False), (367, True)]
)
def test_a_certificate_runs_out_in_its_last_thirty_days(
    server: x509.Certificate, days: int, *, out: bool
) -> None:
    assert certificates.runs_out(server, now=NOW + timedelta(days=days)) == out
