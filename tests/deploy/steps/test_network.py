"""Which names and addresses a certificate is made for."""

import argparse
import ipaddress
import socket
import struct

import pytest

from deploy.steps import network
from deploy.steps.network import machine_names, network_addresses, parse_name


def test_only_addresses_that_others_can_use_are_named() -> None:
    found = [ipaddress.ip_address(address) for address in network_addresses()]
    assert not [one for one in found if one.is_loopback or one.is_link_local]
    assert len(set(found)) == len(found)


def test_every_address_named_is_this_machines_own() -> None:
    for address in network_addresses():
        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        with socket.socket(family) as own:
            own.bind((address, 0))


def _message(address: str, *, scope: int = 0, flags: int = 0) -> bytes:
    """Write one answer of the kernel, by rtnetlink(7) and linux/if_addr.h."""
    packed = ipaddress.ip_address(address).packed
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    return (
        struct.pack("=BBBBi", family, 24, flags & 0xFF, scope, 2)
        + struct.pack("=HH", 4 + len(packed), 1)
        + packed
        + struct.pack("=HHI", 8, 8, flags)
    )


@pytest.mark.parametrize(
    ("message", "named"),
    [
        (_message("192.0.2.7"), ["192.0.2.7"]),
        (_message("2001:db8::7"), ["2001:db8::7"]),
        (_message("127.0.0.1", scope=254), []),
        (_message("fe80::1", scope=253), []),
        (_message("169.254.7.7"), []),
        # Thrown away after a day, outdated, tentative, refused by another machine.
        (_message("2001:db8::8", flags=0x01), []),
        (_message("2001:db8::8", flags=0x20), []),
        (_message("2001:db8::8", flags=0x40), []),
        (_message("2001:db8::8", flags=0x08), []),
        # The same bit means 'secondary' for IPv4.
        (_message("192.0.2.8", flags=0x01), ["192.0.2.8"]),
    ],
)
def test_the_kernels_answer_is_read(message: bytes, named: list[str]) -> None:
    assert list(network._address(message)) == named


def test_a_machine_without_a_network_has_no_address(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def none(*_: object) -> None:
        raise OSError("no such family")

    monkeypatch.setattr(socket, "socket", none)
    assert network_addresses() == []


@pytest.mark.parametrize(
    ("called", "names"),
    [
        ("Press-House", ["press-house", "press-house.local"]),
        ("press.example.org", ["press.example.org", "press", "press.local"]),
        ("localhost", []),
        ("localhost.localdomain", []),
        ("press_house", []),
    ],
)
def test_a_machine_is_known_by_its_names(
    called: str, names: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(socket, "gethostname", lambda: called)
    assert machine_names() == names


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Vines.Example.org.", "vines.example.org"),
        ("192.0.2.7", "192.0.2.7"),
        ("[2001:DB8::7]", "2001:db8::7"),
        ("rebhügel.example", "xn--rebhgel-q2a.example"),
    ],
)
def test_a_given_name_is_read(text: str, name: str) -> None:
    assert parse_name(text) == name


@pytest.mark.parametrize(
    "text",
    [
        *("", ".", "a b", "a/b", "-a", "a" * 64, "a." * 130 + "a"),
        *("https://vines", "vines:8000", "*.example.org", "1.2.3", "fe80::1%eth0"),
    ],
)
def test_what_is_no_name_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="no machine's name"):
        parse_name(text)
