"""Where things lie: the checkout, its state folder, its Python environments."""

import os
from dataclasses import dataclass
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, kw_only=True)
class Places:
    """The folders of one command; `deploy/check` keeps apart from `deploy/start`."""

    state: Path
    environment: Path
    requirements: tuple[str, ...]

    @property
    def python(self) -> Path:
        """The Python that the site or its tests run on."""
        return self.environment / "bin" / "python"

    @property
    def logs(self) -> Path:
        """One log file for each process."""
        return self.state / "log"


def places_to_start() -> Places:
    """Give the folders of `deploy/start`."""
    given = os.environ.get("WASHBOARD_STATE_DIR")
    return Places(
        state=Path(given).absolute() if given else CHECKOUT / ".state",
        environment=CHECKOUT / ".venv",
        requirements=("requirements.txt",),
    )


def places_to_check() -> Places:
    """Give the folders of `deploy/check`."""
    return Places(
        state=CHECKOUT / ".state" / "check",
        environment=CHECKOUT / ".venv-check",
        requirements=("requirements.txt", "requirements-dev.txt"),
    )
