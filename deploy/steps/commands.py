"""Run other programs, quietly unless they fail."""

import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from deploy.steps.accounts import Account, identity
from deploy.steps.say import StepError, Stopped, say

SHOWN_LINES = 40


def run(
    command: Sequence[str | Path],
    *,
    failing: str,
    env: Mapping[str, str] | None = None,
    account: Account | None = None,
    folder: Path | None = None,
    unbroken: bool = False,
) -> None:
    """Run to the end; on failure show the output's end and stop with `failing`.

    `unbroken` is for what must not be killed: a package half installed, say, is worse
    than waiting for it.
    """
    with (
        tempfile.TemporaryFile() as output,
        subprocess.Popen(  # noqa: S603 - our own commands, no shell
            command,
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            env=dict(env) if env is not None else None,
            cwd=folder,
            **identity(account),
        ) as process,
    ):
        try:
            code = process.wait()
        except Stopped:
            if unbroken:
                say("Waiting for the installation to come to an orderly end.")
            else:
                process.terminate()
            process.wait()
            raise
        if code:
            output.seek(0)
            lines = output.read().decode(errors="replace").splitlines()
            raise StepError(failing, words=lines[-SHOWN_LINES:])


def output_of(
    command: Sequence[str | Path], *, account: Account | None = None
) -> str | None:
    """Give what a command prints, or None if it is missing or fails."""
    try:
        done = subprocess.run(  # noqa: S603 - our own commands, no shell
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd="/",
            check=True,
            text=True,
            **identity(account),
        )
    except (OSError, subprocess.CalledProcessError):
        return None
    return done.stdout
