"""What a phone meets: the site's own web server over TLS, asked by other programs."""

import http.client
import socket
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import closing
from email.message import Message

import pytest
from cryptography import x509

from deploy.steps.certificates import fingerprint
from deploy.steps.site import web_answers
from deploy.steps.tls import HERE, keep_tls
from tests.deploy.secured import NAME, Secured, secured_site


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Secured]:
    with secured_site(tmp_path_factory.mktemp("state")) as found:
        yield found


def _strict(site: Secured) -> ssl.SSLContext:
    """Trust this authority only, and hold its chain to RFC 5280 to the letter."""
    context = site.tls.trusting()
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    return context


def _speak(site: Secured, name: str, context: ssl.SSLContext) -> str:
    near = ("127.0.0.1", site.port)
    with (
        socket.create_connection(near, timeout=10) as plain,
        context.wrap_socket(plain, server_hostname=name) as spoken,
    ):
        return spoken.version() or ""


def _get(site: Secured, path: str, name: str = NAME) -> tuple[int, Message, bytes]:
    link = http.client.HTTPSConnection(
        "127.0.0.1", site.port, timeout=10, context=_strict(site)
    )
    with closing(link):
        link.request("GET", path, headers={"Host": f"{name}:{site.port}"})
        with link.getresponse() as answer:
            return answer.status, answer.headers, answer.read()


def test_the_chain_holds_for_every_name_served(site: Secured) -> None:
    assert {NAME, *HERE} <= set(site.tls.names)
    for name in site.tls.names:
        assert _speak(site, name, _strict(site)) == "TLSv1.3"


@pytest.mark.parametrize("name", ["other.test", "192.0.2.254", f"a.{NAME}"])
def test_another_name_is_refused(site: Secured, name: str) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match="match"):
        _speak(site, name, _strict(site))


def test_who_does_not_trust_the_authority_is_warned(site: Secured) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match="verify failed"):
        _speak(site, NAME, ssl.create_default_context())


def test_tls_1_2_is_the_oldest_that_is_spoken(site: Secured) -> None:
    context = _strict(site)
    context.maximum_version = ssl.TLSVersion.TLSv1_2
    assert _speak(site, NAME, context) == "TLSv1.2"


def test_older_tls_is_refused(site: Secured) -> None:
    context = _strict(site)
    context.set_ciphers("ALL:@SECLEVEL=0")
    # RFC 8996 ends these versions, and Python says so when they are asked for.
    with pytest.warns(DeprecationWarning, match="TLSVersion"):
        context.minimum_version = ssl.TLSVersion.TLSv1
    with pytest.warns(DeprecationWarning, match="TLSVersion"):
        context.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises(OSError, match=r".+"):
        _speak(site, NAME, context)


def test_every_address_served_is_answered(site: Secured) -> None:
    for name in site.tls.names:
        host = f"[{name}]" if ":" in name else name
        assert _get(site, "/healthz", host)[0] == 200, name
    # The page that says so needs static files, which were not gathered here.
    assert _get(site, "/healthz", "other.test")[0] >= 400


def test_browsers_are_not_told_to_insist_on_https(site: Secured) -> None:
    """They would let nobody past a lost certificate (RFC 6797, 12.1)."""
    _, headers, _ = _get(site, "/healthz")
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "Strict-Transport-Security" not in headers


def test_the_downloaded_certificate_is_the_one_that_is_printed(site: Secured) -> None:
    status, headers, body = _get(site, "/certificate/washboard.crt")
    assert status == 200
    assert headers["Content-Type"] == "application/x-x509-ca-cert"
    certificate = x509.load_der_x509_certificate(body)
    assert fingerprint(certificate) == site.tls.fingerprint


def test_plain_http_on_the_port_ends_that_connection_only(site: Secured) -> None:
    near = ("127.0.0.1", site.port)
    with (
        socket.create_connection(near, timeout=10) as plain,
        plain.makefile("rb") as it,
    ):
        plain.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert b"200" not in it.read()
    assert _get(site, "/healthz")[0] == 200


def test_the_health_check_trusts_the_authority_and_no_other(
    site: Secured, tmp_path_factory: pytest.TempPathFactory
) -> None:
    assert web_answers(site.listening, site.tls)
    other = keep_tls(tmp_path_factory.mktemp("other"), site.tls.names)
    assert not web_answers(site.listening, other)
    assert not web_answers(site.listening, None)


def test_a_renewed_certificate_is_served_without_a_new_start(site: Secured) -> None:
    state = site.tls.authority_file.parents[1]
    renewed = keep_tls(state, [*site.tls.names, "later.test"])
    assert renewed.fingerprint == site.tls.fingerprint
    assert _speak(site, "later.test", _strict(site)) == "TLSv1.3"
    keep_tls(state, site.tls.names)


def test_another_program_finds_the_chain_in_order(site: Secured) -> None:
    """OpenSSL's own client, which comes with Debian's packages of PostgreSQL."""
    done = subprocess.run(
        [
            *("openssl", "s_client", "-connect", f"127.0.0.1:{site.port}"),
            *("-CAfile", str(site.tls.authority_file), "-x509_strict"),
            *("-purpose", "sslserver", "-verify_hostname", NAME),
            "-verify_return_error",
        ],
        check=True,
        input="",
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert "Verify return code: 0 (ok)" in done.stdout
