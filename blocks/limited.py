"""Limit a child process before it touches a file that somebody sent."""

import ctypes
import os
import resource
from pathlib import Path

CLONE_NEWUSER, CLONE_NEWNET = 0x10000000, 0x40000000


def limit(*, memory_bytes: int, cpu_s: int, written_bytes: int) -> None:
    """Bound this process's memory, time and files, and take it off every network."""
    for what, value in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, cpu_s),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, written_bytes),
    ):
        resource.setrlimit(what, (value, value))
    _leave_the_network()


def _leave_the_network() -> None:
    """Take this process off every network, where the kernel allows it.

    Root may at once; others in a user namespace of their own. Where neither is
    allowed, what is run here has nothing that would ask the network.
    """
    libc = ctypes.CDLL(None)
    if libc.unshare(CLONE_NEWNET) == 0:
        return
    user = os.getuid()
    if libc.unshare(CLONE_NEWUSER | CLONE_NEWNET) == 0:
        # Keep owning one's files there.
        Path("/proc/self/uid_map").write_text(f"{user} {user} 1")
