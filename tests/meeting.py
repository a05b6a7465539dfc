"""Works that meet: each in a thread and on a connection of its own."""

from collections.abc import Callable
from threading import Barrier, Thread
from typing import Any

from django.db import connection


def at_once(
    *works: Callable[[], Any], refused: type[Exception] | tuple[()] = ()
) -> list[Any]:
    """Do all of it at the same moment, and give what came of each.

    An error of the kind `refused` is given too; any other fails the test.
    """
    barrier, done = Barrier(len(works)), []

    def run(work: Callable[[], Any]) -> None:
        try:
            barrier.wait(timeout=30)
            done.append(work())
        except refused as error:
            done.append(error)
        finally:
            connection.close()

    threads = [Thread(target=run, args=[work]) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return done
