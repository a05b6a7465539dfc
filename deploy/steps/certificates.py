"""Make certificates as RFC 5280 asks: an authority, and the server's, signed by it."""

import ipaddress
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from deploy.steps.network import is_address

# Phones refuse a server's certificate that is valid for longer than about 13 months.
SERVER_DAYS = 397
AUTHORITY_DAYS = 3650
RENEW_BEFORE = timedelta(days=30)
# A phone's clock may be behind this machine's.
CLOCKS_APART = timedelta(days=1)
# RFC 5280, ub-common-name.
LONGEST_NAME = 64
_NO_USAGE = dict.fromkeys(
    [
        *("digital_signature", "content_commitment", "key_encipherment"),
        *("data_encipherment", "key_agreement", "key_cert_sign", "crl_sign"),
        *("encipher_only", "decipher_only"),
    ],
    False,
)


@dataclass(frozen=True, kw_only=True)
class Pair:
    """A certificate and its private key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def pem(self) -> bytes:
        """Write both into one text, so that one file can never hold half a pair."""
        return self.certificate.public_bytes(serialization.Encoding.PEM) + (
            self.key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )


def read_pair(pem: bytes) -> Pair:
    """Read what `Pair.pem` wrote; anything else is a ValueError."""
    try:
        certificate = x509.load_pem_x509_certificate(pem)
        key = serialization.load_pem_private_key(pem, password=None)
    except (ValueError, TypeError) as error:
        raise ValueError("it holds no certificate with its key") from error
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise ValueError("its key is of another kind")  # noqa: TRY004 - the file's fault
    if key.public_key() != certificate.public_key():
        raise ValueError("its key belongs to another certificate")
    return Pair(certificate=certificate, key=key)


def new_authority(machine: str, *, now: datetime) -> Pair:
    """Make an authority that may sign certificates of servers, and no authorities."""
    key = ec.generate_private_key(ec.SECP256R1())
    # The day tells two authorities of one machine apart in a phone's list.
    name = f"Washboard on {machine[:32] or 'a machine'}, {now:%Y-%m-%d}"
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    public = key.public_key()
    builder = (
        _from_now(AUTHORITY_DAYS, now=now)
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(public)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage("key_cert_sign", "crl_sign"), critical=True)
        .add_extension(
            x509.SubjectKeyIdentifier.from_public_key(public), critical=False
        )
    )
    return Pair(certificate=builder.sign(key, hashes.SHA256()), key=key)


def new_server(authority: Pair, names: Sequence[str], *, now: datetime) -> Pair:
    """Make the server's certificate for these names and addresses."""
    key = ec.generate_private_key(ec.SECP256R1())
    public, issuer = key.public_key(), authority.certificate
    identifier = issuer.extensions.get_extension_for_class(x509.SubjectKeyIdentifier)
    common = x509.NameAttribute(NameOID.COMMON_NAME, names[0][:LONGEST_NAME])
    additions: list[tuple[x509.ExtensionType, bool]] = [
        (x509.BasicConstraints(ca=False, path_length=None), True),
        (_usage("digital_signature"), True),
        (x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False),
        (x509.SubjectAlternativeName([_general(name) for name in names]), False),
        (x509.SubjectKeyIdentifier.from_public_key(public), False),
        (
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(
                identifier.value
            ),
            False,
        ),
    ]
    builder = (
        _from_now(SERVER_DAYS, now=now, at_most=issuer.not_valid_after_utc)
        .subject_name(x509.Name([common]))
        .issuer_name(issuer.subject)
        .public_key(public)
    )
    for extension, critical in additions:
        builder = builder.add_extension(extension, critical=critical)
    return Pair(certificate=builder.sign(authority.key, hashes.SHA256()), key=key)


def names_in(certificate: x509.Certificate) -> set[str]:
    """Give the names and addresses that a certificate holds."""
    try:
        held = certificate.extensions.get_extension_for_class(
            x509.SubjectAlternativeName
        ).value
    except x509.ExtensionNotFound:
        return set()
    addresses = held.get_values_for_type(x509.IPAddress)
    return {*held.get_values_for_type(x509.DNSName), *map(str, addresses)}


def runs_out(certificate: x509.Certificate, *, now: datetime) -> bool:
    """Tell whether a certificate is near its end, or the clock before its start."""
    return not (
        certificate.not_valid_before_utc
        <= now
        < certificate.not_valid_after_utc - RENEW_BEFORE
    )


def is_signed_by(certificate: x509.Certificate, authority: Pair) -> bool:
    """Tell whether the authority signed the certificate."""
    try:
        certificate.verify_directly_issued_by(authority.certificate)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return True


def fingerprint(certificate: x509.Certificate) -> str:
    """Write the SHA-256 fingerprint as phones show it: pairs with colons."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _from_now(
    days: int, *, now: datetime, at_most: datetime | None = None
) -> x509.CertificateBuilder:
    start = now - CLOCKS_APART
    # RFC 5280, 4.1.2.5: the last second counts as well.
    end = start + timedelta(days=days) - timedelta(seconds=1)
    return (
        x509.CertificateBuilder()
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(min(end, at_most or end))
    )


def _usage(*uses: str) -> x509.KeyUsage:
    return x509.KeyUsage(**{**_NO_USAGE, **dict.fromkeys(uses, True)})


def _general(name: str) -> x509.GeneralName:
    if is_address(name):
        return x509.IPAddress(ipaddress.ip_address(name))
    return x509.DNSName(name)
