"""Lock the requirements with hashes, and tell when a lock is out of step."""

import hashlib
import re
import sys
from pathlib import Path

from deploy.steps.commands import run
from deploy.steps.places import CHECKOUT, places_to_check
from deploy.steps.say import StepError, main, say

# The second is locked within the first, so it depends on both.
LOCKS = {
    "requirements.txt": ("requirements.in",),
    "requirements-dev.txt": ("requirements-dev.in", "requirements.txt"),
}
MARK = "# locked from: "


def work() -> int:
    """Lock anew, or with --check only tell what is out of step."""
    if sys.argv[1:] == ["--check"]:
        faults = faults_in_locks(CHECKOUT)
        for fault in faults:
            say(fault)
        return 1 if faults else 0
    return _lock_anew()


def _lock_anew() -> int:
    """Lock anew what was edited (all of it with --upgrade), and no index address."""
    python = places_to_check().python
    if not python.exists():
        raise StepError("The tools for it are not installed: run deploy/check --fast.")
    for lock, sources in LOCKS.items():
        say(f"Locking {lock}.")
        run(
            [
                *(python, "-m", "piptools", "compile", "--quiet", "--allow-unsafe"),
                *("--generate-hashes", "--no-strip-extras", "--no-emit-index-url"),
                *("--no-emit-find-links", "--no-emit-trusted-host", "--no-header"),
                *("--output-file", lock, sources[0], *sys.argv[1:]),
            ],
            failing=f"{lock} could not be locked; the words above say why.",
            # So that the file names its sources without this machine's folders.
            folder=CHECKOUT,
        )
        with (CHECKOUT / lock).open("a") as file:
            file.write(f"# made by deploy/steps/lock; edit {sources[0]} instead\n")
            file.write(f"{MARK}{digest_of(CHECKOUT, sources)}\n")
    return 0


def faults_in_locks(folder: Path) -> list[str]:
    """List what is wrong with the lock files, in words."""
    faults = []
    for lock, sources in LOCKS.items():
        text = (folder / lock).read_text()
        recorded = re.findall(rf"^{MARK}(\w+)$", text, re.MULTILINE)
        if recorded != [digest_of(folder, sources)]:
            faults.append(
                f"{lock} was not locked from the present {' and '.join(sources)}:"
                " run deploy/steps/lock."
            )
        if "://" in text or re.search(r"^-", text, re.MULTILINE):
            faults.append(f"{lock} holds an address or an option; it must hold pins.")
        # A requirement goes on over lines that end with a backslash.
        whole = text.replace("\\\n", " ")
        faults += [
            f"{lock}: {line.split()[0]} is not pinned, or has no hash."
            for line in whole.splitlines()
            if line.strip() and line[0] not in "# " and not _is_pinned(line)
        ]
    return faults


def _is_pinned(line: str) -> bool:
    return bool(
        re.match(r"[\w.-]+(?:\[[\w,.-]+\])?==\S+ .*--hash=sha256:[0-9a-f]{64}", line)
    )


def digest_of(folder: Path, sources: tuple[str, ...]) -> str:
    """Give the digest of what the sources ask for, whatever their remarks say."""
    lines = [
        line
        for source in sources
        for raw in (folder / source).read_text().splitlines()
        if (line := raw.split("#", 1)[0].strip())
    ]
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


if __name__ == "__main__":
    main("deploy/steps/lock", work)
