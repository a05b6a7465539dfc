"""A port is taken before anything else is started, or the reason is said."""

import argparse
from collections.abc import Iterator
from socket import socket

import pytest

from deploy.steps import ports
from deploy.steps.say import StepError

HERE = "127.0.0.1"


@pytest.fixture
def taken() -> Iterator[int]:
    with socket() as other:
        other.bind((HERE, 0))
        other.listen()
        yield other.getsockname()[1]


def test_a_taken_port_that_was_asked_for_is_refused(taken: int) -> None:
    with pytest.raises(StepError, match=f"Port {taken} is taken"):
        ports.take_port(HERE, taken)


def test_without_a_wish_the_next_free_port_is_taken(
    taken: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(ports, "FIRST_PORT", taken)
    monkeypatch.setattr(ports, "LAST_PORT", taken + 20)
    with ports.take_port(HERE, None) as found:
        assert taken < found.getsockname()[1] <= taken + 20
    assert f"Port {taken} is taken" in capsys.readouterr().out


def test_no_free_port_at_all_is_said(
    taken: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "FIRST_PORT", taken)
    monkeypatch.setattr(ports, "LAST_PORT", taken)
    with pytest.raises(StepError, match="--port"):
        ports.take_port(HERE, None)


def test_an_address_of_another_machine_is_refused() -> None:
    # 192.0.2.0/24 is no machine's: RFC 5737.
    with pytest.raises(StepError, match=r"no address 192\.0\.2\.1"):
        ports.take_port("192.0.2.1", None)


@pytest.mark.parametrize("text", ["0", "65536", "-1", "eighty", "80.0", "", "¾"])
def test_what_is_no_port_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="1 to 65535"):
        ports.parse_port(text)


def test_the_printed_address_names_host_and_port() -> None:
    with ports.take_port(HERE, None) as found:
        port = found.getsockname()[1]
        assert ports.address_of(found) == f"http://127.0.0.1:{port}"
