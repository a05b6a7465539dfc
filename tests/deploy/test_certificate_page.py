"""A device learns from the site itself how to trust it; others' sites say nothing."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from django.test import Client

from deploy.steps.certificates import fingerprint
from deploy.steps.tls import Tls, keep_tls

pytestmark = pytest.mark.django_db
HOSTS = ("vines.example.org", "192.0.2.7", "[2001:db8::7]", "press-house.local")


@pytest.fixture
def own(tmp_path: Path, settings: Any) -> Tls:
    made = keep_tls(tmp_path, [host.strip("[]") for host in HOSTS])
    settings.AUTHORITY_FILE = str(made.authority_file)
    settings.SITE_URL = "https://192.0.2.7:8000"
    settings.ALLOWED_HOSTS = made.hosts().split(",")
    return made


def _client() -> Client:
    return Client(enforce_csrf_checks=True, headers={"host": f"{HOSTS[0]}:8000"})


def test_anybody_is_told_how_to_trust_the_site(own: Tls) -> None:
    page = _client().get("/certificate/", secure=True)
    words = page.content.decode()
    assert page.status_code == 200
    assert own.fingerprint in words.replace("<br>", "")
    assert "“Washboard on vines.example.org, 20" in words
    assert "/certificate/washboard.crt" in words
    assert "https://192.0.2.7:8000/certificate/" in words
    assert "only on a device of your own" in words


def test_the_file_is_the_authoritys_certificate_without_its_key(own: Tls) -> None:
    answer = _client().get("/certificate/washboard.crt", secure=True)
    assert answer["Content-Type"] == "application/x-x509-ca-cert"
    certificate = x509.load_der_x509_certificate(answer.content)
    assert fingerprint(certificate) == own.fingerprint
    assert b"PRIVATE" not in answer.content


def test_the_sign_in_page_leads_there(own: Tls) -> None:
    page = _client().get("/accounts/login/", secure=True)
    assert b'href="/certificate/"' in page.content


@pytest.mark.parametrize("path", ["/certificate/", "/certificate/washboard.crt"])
def test_a_site_without_a_certificate_of_its_own_has_no_such_page(
    client: Client, settings: Any, path: str
) -> None:
    settings.AUTHORITY_FILE = ""
    assert client.get(path).status_code == 404
    assert b"/certificate/" not in client.get("/accounts/login/").content


@pytest.mark.parametrize("content", [None, "mud"])
def test_a_certificate_that_cannot_be_read_is_said(
    own: Tls, content: str | None
) -> None:
    own.authority_file.unlink()
    if content:
        own.authority_file.write_text(content)
    answer = _client().get("/certificate/", secure=True)
    assert answer.status_code == 503
    assert b"Ask whoever runs" in answer.content


@pytest.mark.parametrize("host", HOSTS)
def test_forms_are_taken_under_every_address_and_from_no_other_site(
    own: Tls, host: str
) -> None:
    here = f"{host}:8000"
    client = Client(enforce_csrf_checks=True, headers={"host": here})
    client.get("/accounts/login/", secure=True)
    (token,) = (
        cookie.value for name, cookie in client.cookies.items() if "csrf" in name
    )
    form = {"login": "a@example.org", "password": "x", "csrfmiddlewaretoken": token}
    for sender, status in ((here, 200), ("other.example.org:8000", 403)):
        for headers in (
            {"origin": f"https://{sender}"},
            {"referer": f"https://{sender}/accounts/login/"},
        ):
            answer = client.post("/accounts/login/", form, secure=True, headers=headers)
            assert answer.status_code == status, (sender, headers)


SHOW = (
    "from deploy.project import settings as s;"
    "print(getattr(s, 'SECURE_HSTS_SECONDS', 0), s.SESSION_COOKIE_SECURE,"
    " s.CSRF_COOKIE_SECURE, s.SESSION_COOKIE_NAME)"
)


@pytest.mark.parametrize(
    ("authority", "seconds"), [("/state/tls/authority.crt", "0"), ("", "31536000")]
)
def test_cookies_are_for_https_but_browsers_insist_on_it_for_bought_names_only(
    authority: str, seconds: str
) -> None:
    env = {
        "WASHBOARD_SECRET_KEY": "k" * 60,
        "WASHBOARD_SITE_URL": "https://192.0.2.7:8000",
        "WASHBOARD_AUTHORITY_FILE": authority,
        "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
    }
    done = subprocess.run(
        [sys.executable, "-c", SHOW],
        env=env,
        check=True,
        capture_output=True,
        text=True,
    )
    assert done.stdout.split() == [seconds, "True", "True", "__Host-sessionid"]
