"""Static files are gathered again when, and only when, something changed."""

from pathlib import Path

import pytest

from deploy.steps.statics import digest_of_static_files


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    for name in (
        "blocks/static/blocks/site.css",
        "monitoring/static/vendor/chart-1.0/chart.js",
        "deploy/project/static.py",
        ".venv/washboard.json",
    ):
        file = tmp_path / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(name)
    return tmp_path


def digest(checkout: Path) -> str:
    return digest_of_static_files(checkout, checkout / ".venv" / "washboard.json")


def test_nothing_changed_means_nothing_to_do(checkout: Path) -> None:
    first = digest(checkout)
    (checkout / "blocks" / "static" / "blocks" / "site.css").touch()
    (checkout / "blocks" / "models.py").write_text("")
    assert digest(checkout) == first


@pytest.mark.parametrize(
    "name",
    [
        "blocks/static/blocks/site.css",
        "blocks/static/blocks/new.js",
        "monitoring/static/vendor/chart-1.0/chart.js",
        "deploy/project/static.py",
        ".venv/washboard.json",
    ],
)
def test_any_change_is_seen(checkout: Path, name: str) -> None:
    first = digest(checkout)
    (checkout / name).write_text("changed")
    assert digest(checkout) != first


def test_a_renamed_file_is_seen(checkout: Path) -> None:
    first = digest(checkout)
    file = checkout / "blocks" / "static" / "blocks" / "site.css"
    file.rename(file.with_name("renamed.css"))
    assert digest(checkout) != first
