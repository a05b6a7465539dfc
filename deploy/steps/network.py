"""Tell under which addresses and names this machine is reached on its networks."""

import argparse
import ipaddress
import re
import socket
import struct
from collections.abc import Iterator

# rtnetlink(7) and linux/if_addr.h: ask the kernel for every address it has.
GET_ADDRESSES = 22
NEW_ADDRESS = 20
REQUEST_DUMP = 0x301
GLOBAL_OR_SITE = (0, 200)
ADDRESS, LOCAL, FLAGS = 1, 2, 8
# A failed, outdated or tentative address answers nobody.
USELESS = 0x08 | 0x20 | 0x40
# For IPv6, one that is thrown away after a day; for IPv4 the bit means 'secondary'.
TEMPORARY = 0x01
HEADER = struct.Struct("=IHHII")
MESSAGE = struct.Struct("=BBBBi")
ATTRIBUTE = struct.Struct("=HH")
# RFC 5737: nobody's address, and connecting a datagram socket sends nothing.
ELSEWHERE = ("192.0.2.1", 9)

# RFC 1123, 2.1: letters, figures and inner hyphens.
_LABEL = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)")


def network_addresses() -> list[str]:
    """Give this machine's addresses on its networks, the likeliest to be typed first.

    Loopback and link-local addresses are left out: no other machine's browser can use
    them.
    """
    try:
        with socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, 0) as kernel:
            kernel.settimeout(5)
            kernel.send(
                HEADER.pack(
                    HEADER.size + MESSAGE.size, GET_ADDRESSES, REQUEST_DUMP, 1, 0
                )
                + MESSAGE.pack(socket.AF_UNSPEC, 0, 0, 0, 0)
            )
            found = list(dict.fromkeys(_answers(kernel)))
    except OSError:
        found = []
    way_out = _address_of_the_way_out()
    return sorted(found, key=lambda address: (address != way_out, ":" in address))


def machine_names() -> list[str]:
    """Give the names by which a network may know this machine, besides addresses."""
    name = socket.gethostname().lower().rstrip(".")
    short = name.split(".", 1)[0]
    # RFC 6762: how machines without a name server find each other.
    candidates = dict.fromkeys([name, short, f"{short}.local"])
    return [one for one in candidates if short != "localhost" and _is_name(one)]


def parse_name(text: str) -> str:
    """Read a name or an address that a certificate can hold."""
    if is_address(bare := text.strip("[]")) and "%" not in bare:
        return str(ipaddress.ip_address(bare))
    try:
        name = text.encode("idna").decode().lower().rstrip(".")
    except UnicodeError:
        name = ""
    if not _is_name(name):
        raise argparse.ArgumentTypeError(
            f"{text!r} is no machine's name or address: give one like"
            " washboard.example.org or 192.0.2.7, without https:// and without a port"
        )
    return name


def is_address(name: str) -> bool:
    """Tell an address from a name."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def in_url(host: str) -> str:
    """Write a name or address as a URL has it."""
    return f"[{host}]" if ":" in host else host


def _is_name(name: str) -> bool:
    # All figures at the end would be taken for an address.
    labels = name.split(".")
    return (
        len(name) <= 253
        and not labels[-1].isdecimal()
        and all(_LABEL.fullmatch(label) for label in labels)
    )


def _address_of_the_way_out() -> str:
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as unsent:
            unsent.connect(ELSEWHERE)
            return str(unsent.getsockname()[0])
    except OSError:
        return ""


def _answers(kernel: socket.socket) -> Iterator[str]:
    while True:
        data = kernel.recv(65536)
        at = 0
        while at + HEADER.size <= len(data):
            size, kind, *_ = HEADER.unpack_from(data, at)
            if kind != NEW_ADDRESS or size < HEADER.size:
                return
            yield from _address(data[at + HEADER.size : at + size])
            at += size + -size % 4
        if not data:
            return


def _address(message: bytes) -> Iterator[str]:
    family, _, flags, scope, _ = MESSAGE.unpack_from(message)
    found: dict[int, bytes] = {}
    at = MESSAGE.size
    while at + ATTRIBUTE.size <= len(message):
        size, kind = ATTRIBUTE.unpack_from(message, at)
        if size < ATTRIBUTE.size:
            break
        found[kind] = message[at + ATTRIBUTE.size : at + size]
        at += size + -size % 4
    if FLAGS in found:
        (flags,) = struct.unpack("=I", found[FLAGS])
    unwanted = USELESS | (TEMPORARY if family == socket.AF_INET6 else 0)
    # On a point-to-point link ADDRESS is the other end's.
    packed = found.get(LOCAL) or found.get(ADDRESS)
    if packed and scope in GLOBAL_OR_SITE and not flags & unwanted:
        address = ipaddress.ip_address(packed)
        if not (address.is_loopback or address.is_link_local):
            yield str(address)
