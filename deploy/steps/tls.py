"""Serve over TLS with certificates of one's own, made once and kept in the state."""

import ssl
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import serialization

from deploy.steps.certificates import (
    Pair,
    fingerprint,
    is_signed_by,
    names_in,
    new_authority,
    new_server,
    read_pair,
    runs_out,
)
from deploy.steps.network import in_url, is_address, machine_names, network_addresses
from deploy.steps.ports import is_everywhere
from deploy.steps.say import StepError, say
from deploy.steps.state import PRIVATE_FILE, PRIVATE_FOLDER, write_private

HERE = ("localhost", "127.0.0.1", "::1")
OPEN_TO_OTHERS = 0o077


def utc_now() -> datetime:
    """Give the time by this machine's clock."""
    return datetime.now(UTC)


@dataclass(frozen=True, kw_only=True)
class Tls:
    """What the web server needs to serve over TLS, and what people are told."""

    # The authority's certificate alone; whoever trusts it trusts the server's.
    authority_file: Path
    # The server's certificate and its key.
    server_file: Path
    # Every name and address in the certificate; those for other machines come first.
    names: tuple[str, ...]
    fingerprint: str
    valid_until: datetime

    def urls(self, port: int) -> list[str]:
        """Give the addresses for the browsers of other machines, if there are any."""
        others = [name for name in self.names if name not in HERE]
        end = "" if port == 443 else f":{port}"
        return [f"https://{in_url(name)}{end}" for name in others or HERE[:1]]

    def hosts(self) -> str:
        """Write the names for the setting of allowed hosts."""
        return ",".join(in_url(name) for name in self.names)

    def trusting(self) -> ssl.SSLContext:
        """Give what a client needs that trusts this authority and no other."""
        return ssl.create_default_context(cafile=self.authority_file)


def names_to_serve(host: str, given: Iterable[str]) -> list[str]:
    """Give the names for the certificate, in the order in which they are printed.

    What somebody named comes first: they know what people can reach.
    """
    named = list(given)
    if is_everywhere(host):
        addresses, names = network_addresses(), machine_names()
    else:
        addresses, names = [host], []
    return list(dict.fromkeys([*named, *addresses, *names, *HERE]))


def keep_tls(
    state: Path, names: Iterable[str], *, now: Callable[[], datetime] = utc_now
) -> Tls:
    """Make what is missing, renew what runs out, and keep the authority."""
    folder = state / "tls"
    names, moment = tuple(names), now()
    try:
        folder.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
        folder.chmod(PRIVATE_FOLDER)
        authority = _keep_authority(folder, names, now=moment)
        server = _keep_server(folder, authority, names, now=moment)
        authority_file = folder / "authority.crt"
        write_private(
            authority_file,
            authority.certificate.public_bytes(serialization.Encoding.PEM),
        )
    except OSError as error:
        raise StepError(
            f"{error.filename or folder} cannot be read or written ({error.strerror})."
            " It holds the site's certificates and has to belong to the account that"
            " runs everything; give it back to that account and start again."
        ) from error
    return Tls(
        authority_file=authority_file,
        server_file=folder / "server.pem",
        names=names,
        fingerprint=fingerprint(authority.certificate),
        valid_until=server.not_valid_after_utc,
    )


def _keep_authority(folder: Path, names: tuple[str, ...], *, now: datetime) -> Pair:
    file = folder / "authority.pem"
    try:
        kept = _read(file)
    except ValueError as error:
        raise StepError(
            f"{file} is damaged ({error}). Phones trust this site by it: bring it back"
            f" from a backup. Without one, delete the folder {folder} and start again;"
            " each phone then has to trust the new certificate, and forget the old."
        ) from error
    if kept:
        _require_in_force(file, kept.certificate, now=now)
        return kept
    machine = next((name for name in names if not is_address(name)), "")
    made = new_authority(machine, now=now)
    write_private(file, made.pem())
    return made


def _require_in_force(
    file: Path, certificate: x509.Certificate, *, now: datetime
) -> None:
    """Stop rather than make a new authority, for it may be the clock that is wrong."""
    start, end = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if not start <= now < end:
        raise StepError(
            f"The certificate that phones trust is valid from {start:%-d %b %Y} to"
            f" {end:%-d %b %Y}, and this machine's clock shows {now:%-d %b %Y}. If the"
            " clock is wrong, set it. If the certificate is over, delete the folder"
            f" {file.parent} and start again; each phone then has to trust the new one."
        )


def _keep_server(
    folder: Path, authority: Pair, names: tuple[str, ...], *, now: datetime
) -> x509.Certificate:
    file = folder / "server.pem"
    try:
        kept = _read(file)
    except ValueError as error:
        # Nobody trusts this one by itself, so a new one is as good.
        say(f"{file} is damaged ({error}); making it anew.")
        kept = None
    if kept and (
        names_in(kept.certificate) == set(names)
        and is_signed_by(kept.certificate, authority)
        and not _can_be_renewed(kept.certificate, authority.certificate, now=now)
    ):
        return kept.certificate
    made = new_server(authority, names, now=now)
    write_private(file, made.pem())
    return made.certificate


def _can_be_renewed(
    server: x509.Certificate, authority: x509.Certificate, *, now: datetime
) -> bool:
    """Tell whether a certificate is near its end, and a new one would last longer."""
    ends_with_it = server.not_valid_after_utc >= authority.not_valid_after_utc
    in_force = server.not_valid_before_utc <= now
    return runs_out(server, now=now) and not (ends_with_it and in_force)


def _read(file: Path) -> Pair | None:
    """Read a pair, closing its file to other accounts; None if there is no file."""
    try:
        content = file.read_bytes()
    except FileNotFoundError:
        return None
    if file.stat().st_mode & OPEN_TO_OTHERS:
        file.chmod(PRIVATE_FILE)
        say(f"{file} was open to other accounts of this machine; closed it again.")
    return read_pair(content)
