"""The shell's own pages, and what stands on every page."""

import hashlib
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from tests.builders import World

MANIFEST = "vendor/MANIFEST.txt"
LARGEST_TRACKED_BYTES = 1_572_864


class _Markup(HTMLParser):
    """Collect what a strict policy would not run."""

    def __init__(self) -> None:
        super().__init__()
        self.inline: list[str] = []
        self.languages: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag == "html":
            self.languages.append(named.get("lang") or "")
        if "style" in named or any(name.startswith("on") for name in named):
            self.inline.append(f"{tag} {named}")
        kind = named.get("type", "")
        if tag == "script" and "src" not in named and kind != "application/json":
            self.inline.append(f"{tag} {named}")


@pytest.mark.django_db
def test_the_facts_of_a_block_are_changed_on_a_page(world: World) -> None:
    client = world.client("coordinator")
    url = world.url(f"blocks/{world.block.uuid}/facts/")
    page = client.get(url)
    assert page.status_code == 200
    assert world.block.name in page.content.decode()
    refused = client.post(url, {"planting_year": "long ago"})
    assert refused.status_code == 422
    assert "long ago" in refused.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "path",
    [
        "/accounts/login/",
        "/accounts/password/reset/",
        "/accounts/password/reset/done/",
        "/no-such-page/",
    ],
)
def test_pages_for_everybody_have_nothing_inline(client: Client, path: str) -> None:
    markup = _Markup()
    markup.feed(client.get(path).content.decode())
    assert markup.inline == []
    assert markup.languages == ["en"]


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["", "people/", "blocks/import/", "laboratory/"])
def test_pages_of_a_group_have_nothing_inline(world: World, path: str) -> None:
    markup = _Markup()
    markup.feed(world.client("coordinator").get(world.url(path)).content.decode())
    assert markup.inline == []


@pytest.mark.django_db
def test_the_chosen_theme_is_there_before_any_script(client: Client) -> None:
    client.cookies["theme"] = "dark"
    assert 'data-theme="dark"' in client.get("/accounts/login/").content.decode()
    client.cookies["theme"] = '"><script>'
    assert "data-theme" not in client.get("/accounts/login/").content.decode()


def _vendored() -> Iterator[tuple[str, Path]]:
    manifest = Path(str(finders.find(MANIFEST)))
    for line in manifest.read_text().splitlines():
        digest, _, name = line.partition("  ./")
        if name:
            yield digest, manifest.parent / name


def test_third_party_files_are_those_of_the_manifest() -> None:
    listed = {file: digest for digest, file in _vendored()}
    folder = Path(str(finders.find(MANIFEST))).parent
    found = {file for file in folder.rglob("*") if file.is_file()}
    assert found - {folder / "MANIFEST.txt"} == set(listed)
    for file, digest in listed.items():
        assert hashlib.sha256(file.read_bytes()).hexdigest() == digest, file.name
        assert file.stat().st_size <= LARGEST_TRACKED_BYTES, file.name
    folders = {file.parent for file in listed}
    assert {file.parent for file in listed if file.name == "LICENSE.txt"} == folders
