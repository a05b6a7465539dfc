"""Take the address that the site will listen on, before anything else is started."""

import argparse
import errno
import ipaddress
import socket

from deploy.steps.say import StepError, say

FIRST_PORT = 8000
LAST_PORT = 8099
HIGHEST_PORT = 65535


def take_port(host: str, port: int | None) -> socket.socket:
    """Give a socket bound to the asked port, or to the first free one from 8000.

    The socket stays bound from here on and is handed to the web server, so nobody can
    take the port in between.
    """
    if port is not None:
        try:
            return _bound(host, port)
        except OSError as error:
            raise StepError(_sentence(host, port, error)) from error
    for candidate in range(FIRST_PORT, LAST_PORT + 1):
        try:
            taken = _bound(host, candidate)
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise StepError(_sentence(host, candidate, error)) from error
            continue
        if candidate != FIRST_PORT:
            say(f"Port {FIRST_PORT} is taken on this machine; using {candidate}.")
        return taken
    raise StepError(
        f"All ports from {FIRST_PORT} to {LAST_PORT} are taken. Name another one with"
        " --port."
    )


def parse_port(text: str) -> int:
    """Read a port number, refusing what is none."""
    if not text.isdecimal() or not 0 < int(text) <= HIGHEST_PORT:
        raise argparse.ArgumentTypeError(
            f"{text} is no port: give a number from 1 to {HIGHEST_PORT}"
        )
    return int(text)


def _bound(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    taken = socket.socket(family, socket.SOCK_STREAM)
    try:
        # As the web server does: a port just left may be used again at once.
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if is_everywhere(host) and family == socket.AF_INET6:
            # Every address means those of IPv4 too, whatever the system's habit.
            taken.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
        taken.bind((host, port))
        # With SO_REUSEADDR two may bind; only one may listen.
        taken.listen()
    except OSError:
        taken.close()
        raise
    return taken


def _sentence(host: str, port: int, error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} is taken by another program on this machine. Stop that one,"
            " name another port with --port, or leave --port out to get a free one."
        )
    if error.errno == errno.EACCES:
        return (
            f"Port {port} is for root only. Name one above 1023 with --port, or start"
            " as root."
        )
    return f"This machine has no address {host} to listen on ({error.strerror})."


def everywhere() -> str:
    """Give the host that means every address of this machine."""
    return "::" if socket.has_dualstack_ipv6() else "0.0.0.0"  # noqa: S104 - on purpose


def is_everywhere(host: str) -> bool:
    """Tell whether the host means every address of the machine."""
    try:
        return ipaddress.ip_address(host).is_unspecified
    except ValueError:
        return False


def address_of(taken: socket.socket) -> str:
    """Give the address for a browser."""
    host, port = taken.getsockname()[:2]
    return f"http://{f'[{host}]' if ':' in host else host}:{port}"
