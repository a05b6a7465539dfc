"""`deploy/check`, first part: install, prepare, and hand over."""

import argparse
import sys

from deploy.steps.packages import Needs
from deploy.steps.places import places_to_check
from deploy.steps.prepare import hand_over, install, take_folder
from deploy.steps.say import main


def arguments() -> tuple[argparse.Namespace, list[str]]:
    """Read the command line; what is not known here is pytest's."""
    parser = argparse.ArgumentParser(
        prog="deploy/check",
        allow_abbrev=False,
        description=(
            "Check the code and run all tests on services of their own, apart from"
            " anything that deploy/start runs. Arguments that are not listed here go"
            " to pytest, and then only the tests they name are run."
        ),
    )
    only = parser.add_mutually_exclusive_group()
    only.add_argument("--fast", action="store_true", help="all but the tests")
    only.add_argument(
        "--keep",
        action="store_true",
        help="check nothing: bring up the services for tests run by hand, until Ctrl-C",
    )
    return parser.parse_known_args()


def work() -> int:
    """Prepare, and become the process that checks."""
    asked, _ = arguments()
    taken = take_folder(
        places_to_check(), already="A check already runs in this checkout"
    )
    services = not asked.fast
    install(taken, Needs(postgres=services, redis=services, checks=True))
    hand_over(taken, "deploy.steps.gate", sys.argv[1:])
    return 0


if __name__ == "__main__":
    main("deploy/check", work)
