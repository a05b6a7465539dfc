"""A start with TLS says what to open and trust, and goes on watching it."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from socket import socket

import pytest

from deploy.steps import ports, serving, start, tls
from deploy.steps.certificates import names_in, read_pair
from deploy.steps.say import StepError
from deploy.steps.serving import Serving
from deploy.steps.settings import site_environment

NOW = datetime(2026, 8, 14, 9, 30, tzinfo=UTC)


@pytest.fixture
def listening(monkeypatch: pytest.MonkeyPatch) -> Iterator[socket]:
    for module in (tls, serving, start):
        monkeypatch.setattr(module, "network_addresses", lambda: ["192.0.2.7"])
    monkeypatch.setattr(tls, "machine_names", lambda: ["press-house"])
    with ports.take_port(ports.everywhere(), None) as taken:
        yield taken


@pytest.fixture
def serve(listening: socket, tmp_path: Path) -> Callable[..., Serving]:
    def made(
        *given: str, now: Callable[[], datetime] = lambda: NOW, **environ: str
    ) -> Serving:
        return Serving(tmp_path, listening, given, environ, now=now)

    return made


def _port(listening: socket) -> int:
    port: int = listening.getsockname()[1]
    return port


def test_the_words_name_addresses_page_and_fingerprint(
    serve: Callable[..., Serving], listening: socket
) -> None:
    made = serve()
    words = "\n".join(made.words())
    url = f"https://192.0.2.7:{_port(listening)}"
    assert made.url == url
    assert f"  {url}\n" in words
    assert f"https://press-house:{_port(listening)}" in words
    assert f"{url}/certificate/" in words
    marks = made.tls.fingerprint
    assert f"{marks[:48]}\n  {marks[48:]}" in words
    assert "Caution" in words


def test_every_address_served_is_allowed_besides_those_given(
    serve: Callable[..., Serving],
) -> None:
    made = serve("vines.example.org", WASHBOARD_ALLOWED_HOSTS="mine.example.org")
    allowed = made.settings()["WASHBOARD_ALLOWED_HOSTS"].split(",")
    assert {"mine.example.org", "vines.example.org", "192.0.2.7"} < set(allowed)
    assert {"press-house", "localhost", "127.0.0.1", "[::1]"} < set(allowed)


def test_what_people_type_is_in_the_certificate(
    serve: Callable[..., Serving], tmp_path: Path
) -> None:
    serve(WASHBOARD_SITE_URL="https://Mites.example.org:8000")
    kept = read_pair((tmp_path / "tls" / "server.pem").read_bytes())
    assert "mites.example.org" in names_in(kept.certificate)


@pytest.mark.parametrize("address", ["https://a_b:8000", "https://[::1", "https://*.x"])
def test_an_address_that_no_certificate_can_hold_is_refused(
    serve: Callable[..., Serving], address: str
) -> None:
    with pytest.raises(StepError, match="no address for a browser"):
        serve(WASHBOARD_SITE_URL=address)


def test_the_sites_processes_are_told(
    serve: Callable[..., Serving], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WASHBOARD_ALLOWED_HOSTS", "mine.example.org")
    monkeypatch.delenv("WASHBOARD_SITE_URL", raising=False)
    made = serve(WASHBOARD_ALLOWED_HOSTS="mine.example.org")
    env = site_environment(
        state=tmp_path,
        site_url=made.url,
        services={},
        secret_key="k" * 60,
        tls=made.settings(),
    )
    assert env["WASHBOARD_SITE_URL"] == made.url
    assert "192.0.2.7" in env["WASHBOARD_ALLOWED_HOSTS"]
    assert env["WASHBOARD_AUTHORITY_FILE"] == str(tmp_path / "tls" / "authority.crt")


def test_a_certificate_that_runs_out_is_renewed_while_the_site_runs(
    serve: Callable[..., Serving],
) -> None:
    moments = [NOW]
    made = serve(now=lambda: moments[-1])
    before = made.tls
    made.look()
    assert made.tls == before
    moments.append(NOW + timedelta(days=370))
    made.look()
    assert made.tls.valid_until > before.valid_until
    assert made.tls.fingerprint == before.fingerprint


def test_a_renewal_that_fails_is_said_and_stops_nothing(
    serve: Callable[..., Serving], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    moments = [NOW]
    made = serve(now=lambda: moments[-1])
    (tmp_path / "tls" / "authority.pem").write_text("mud")
    moments.append(NOW + timedelta(days=370))
    made.look()
    assert "could not be renewed" in capsys.readouterr().out
    made.look()
    assert capsys.readouterr().out == ""
    moments.append(moments[-1] + timedelta(days=1))
    made.look()
    assert "could not be renewed" in capsys.readouterr().out


def test_an_authority_near_its_end_is_told_of_now_and_then_with_what_to_do(
    serve: Callable[..., Serving], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    serve()
    near = NOW + timedelta(days=3650 - 10)
    made = serve(now=lambda: near)
    file = tmp_path / "tls" / "server.pem"
    served = file.read_bytes()
    capsys.readouterr()
    made.look()
    said = capsys.readouterr().out
    assert f"ends on {made.tls.valid_until:%-d %b %Y}" in said
    assert f"delete the folder {tmp_path / 'tls'}" in said
    made.look()
    assert capsys.readouterr().out == ""
    # No later one can be had, so this one goes on being served.
    assert file.read_bytes() == served


def test_changed_addresses_are_said_once(
    serve: Callable[..., Serving],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    made = serve()
    made.look()
    assert capsys.readouterr().out == ""
    monkeypatch.setattr(serving, "network_addresses", lambda: ["192.0.2.9"])
    made.look()
    assert "192.0.2.9. Stop and start again" in capsys.readouterr().out
    made.look()
    assert capsys.readouterr().out == ""


def test_a_machine_without_a_network_is_told_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(start, "network_addresses", list)
    with pytest.raises(StepError, match="no address on a network"):
        start.require_tls("::", {})
    start.require_tls("127.0.0.1", {})


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"WASHBOARD_SITE_URL": "http://vines:8000"}, "Write it with https://"),
        ({"WASHBOARD_PROXY_COUNT": "1"}, "ends TLS"),
    ],
)
def test_settings_that_contradict_tls_are_refused(
    given: dict[str, str], words: str
) -> None:
    with pytest.raises(StepError, match=words):
        start.require_tls("127.0.0.1", given)


def test_without_tls_every_address_needs_a_name_and_names_need_tls() -> None:
    with pytest.raises(StepError, match="Say which: WASHBOARD_SITE_URL"):
        start.require_plain(ports.everywhere(), [], {})
    with pytest.raises(StepError, match="needs --tls"):
        start.require_plain("127.0.0.1", ["vines"], {})
    start.require_plain(ports.everywhere(), [], {"WASHBOARD_SITE_URL": "http://vines"})
