"""Describe the private Redis: on a socket only, carrying tasks and nothing lasting."""

import socket
from dataclasses import dataclass
from pathlib import Path

from deploy.steps.packages import find_redis
from deploy.steps.say import StepError
from deploy.steps.sockets import REDIS_SOCKET


@dataclass(frozen=True, kw_only=True)
class RedisServer:
    """A Redis of our own."""

    program: Path
    folder: Path
    socket: Path

    def command(self) -> list[str | Path]:
        """Give the command that serves it in the foreground."""
        return [
            self.program,
            *("--port", "0"),
            *("--unixsocket", self.socket, "--unixsocketperm", "700"),
            *("--dir", self.folder),
            # PostgreSQL holds the truth: a lost Redis delays work and loses none.
            *("--save", "", "--appendonly", "no"),
            # Evicted keys would break the queue's bindings.
            *("--maxmemory-policy", "noeviction"),
            *("--daemonize", "no"),
        ]

    @property
    def url(self) -> str:
        """Give the address for the site."""
        return f"redis+socket://{self.socket}?virtual_host=0"

    def answers(self) -> bool:
        """Tell whether it answers a ping."""
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as link:
                link.settimeout(2)
                link.connect(str(self.socket))
                link.sendall(b"PING\r\n")
                return link.recv(64).startswith(b"+PONG")
        except OSError:
            return False


def make_redis(state: Path, sockets: Path) -> RedisServer:
    """Give the private Redis, with a folder for it to stand in."""
    program = find_redis()
    if program is None:
        raise StepError("No redis-server is installed.")
    folder = state / "redis"
    folder.mkdir(exist_ok=True)
    return RedisServer(program=program, folder=folder, socket=sockets / REDIS_SOCKET)
