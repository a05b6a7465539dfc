"""The files of the bench's page, and one version of them all."""

from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from django.apps import apps
from django.template.loader import render_to_string
from django.templatetags.static import static

from blocks.access import Member

# By app and folder or file below its static files; each is kept by the device.
KEPT = (
    ("monitoring", "monitoring/bench"),
    ("blocks", "vendor/idb-8.0.4/index.js"),
    ("blocks", "blocks/tokens.css"),
    ("blocks", "blocks/base.css"),
    ("blocks", "blocks/icon.svg"),
)
VERSION_DIGITS = 16


@dataclass(frozen=True, slots=True)
class BenchFiles:
    """Addresses of the page's files, and the version of them and of the page."""

    addresses: list[str]
    version: str


def bench_files(member: Member) -> BenchFiles:
    """List what a device keeps; the version changes when any of it does."""
    page = render_to_string("monitoring/bench.html", {"member": member})
    digest = sha256(page.encode())
    addresses = []
    for name, file in _files():
        address = static(name)
        digest.update(f"{address}\n".encode())
        digest.update(file.read_bytes())
        addresses.append(address)
    return BenchFiles(addresses, digest.hexdigest()[:VERSION_DIGITS])


def _files() -> list[tuple[str, Path]]:
    found = []
    for app, name in KEPT:
        root = Path(apps.get_app_config(app).path) / "static"
        place = root / name
        files = sorted(place.rglob("*")) if place.is_dir() else [place]
        found += [
            (file.relative_to(root).as_posix(), file)
            for file in files
            if file.is_file()
        ]
    return found
