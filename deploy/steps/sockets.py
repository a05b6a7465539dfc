"""Keep the sockets in a short private folder, whatever the checkout is called."""

import os
import stat
import tempfile
from pathlib import Path

from deploy.steps.say import StepError
from deploy.steps.state import PRIVATE_FOLDER, read_json, write_json

# sun_path of Linux's sockaddr_un holds 108 bytes, the last one a NUL: unix(7).
LONGEST_PATH_BYTES = 107
POSTGRES_PORT = "5432"
POSTGRES_SOCKET = f".s.PGSQL.{POSTGRES_PORT}"
REDIS_SOCKET = "redis.sock"
RECORD = "state.json"


def keep_socket_folder(state: Path) -> Path:
    """Give the folder of this installation, made anew if it is gone or not ours."""
    file = state / RECORD
    kept = read_json(file)
    recorded = kept.get("socket_folder")
    if recorded and is_private(Path(recorded)):
        folder = Path(recorded)
    else:
        folder = _make()
        write_json(file, kept | {"socket_folder": str(folder)})
    for name in (POSTGRES_SOCKET, REDIS_SOCKET):
        require_short(folder / name)
    return folder


def require_short(path: Path) -> None:
    """Stop if a socket's path is longer than the kernel takes."""
    length = len(os.fsencode(path))
    if length > LONGEST_PATH_BYTES:
        raise StepError(
            f"The socket's path {path} has {length} bytes; Linux takes"
            f" {LONGEST_PATH_BYTES}. Set TMPDIR to a short folder, such as /tmp."
        )


def is_private(folder: Path) -> bool:
    """Tell whether it is a folder of ours that nobody else may enter.

    A temporary folder can be swept away and its name taken by somebody else.
    """
    try:
        found = folder.lstat()
    except OSError:
        return False
    return (
        stat.S_ISDIR(found.st_mode)
        and found.st_uid == os.geteuid()
        and stat.S_IMODE(found.st_mode) == PRIVATE_FOLDER
    )


def _make() -> Path:
    for parent in (os.environ.get("TMPDIR"), "/tmp", "/var/tmp"):  # noqa: S108 - mkdtemp makes a private folder below it
        if parent and len(os.fsencode(parent)) < LONGEST_PATH_BYTES // 2:
            try:
                return Path(tempfile.mkdtemp(prefix="washboard-", dir=parent))
            except OSError:
                continue
    raise StepError(
        "No short folder for sockets: tried TMPDIR, /tmp and /var/tmp. Make one of"
        " them writable."
    )
