"""Talk to the person at the terminal, and stop with a sentence."""

import signal
import sys
from collections.abc import Callable, Sequence

# Ctrl-C, an asked-for end, and a closed terminal.
STOP_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class StepError(Exception):
    """A step cannot go on; the sentence says what is wrong and what to do."""

    def __init__(self, sentence: str, *, words: Sequence[str] = ()) -> None:
        """Keep the sentence, and the words of the program that failed."""
        super().__init__(sentence)
        self.words = words


class Stopped(BaseException):
    """Somebody asked for a stop: Ctrl-C, a closed terminal or a TERM signal."""


def say(sentence: str) -> None:
    """Print one line at once, also into a pipe."""
    sys.stdout.write(f"{sentence}\n")
    sys.stdout.flush()


def main(command: str, work: Callable[[], int]) -> None:
    """Run a command's work and turn what stopped it into words and an exit code."""
    for number in STOP_SIGNALS:
        signal.signal(number, _stop)
    try:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, STOP_SIGNALS)
        code = work()
    except StepError as error:
        sys.stdout.flush()
        sys.stderr.writelines(f"  {line}\n" for line in error.words)
        sys.stderr.write(f"\n{command}: {error}\n")
        code = 1
    except Stopped:
        sys.stderr.write(f"\n{command}: stopped; run it again to go on.\n")
        code = 130
    sys.exit(code)


def _stop(_number: int, _frame: object) -> None:
    raise Stopped
