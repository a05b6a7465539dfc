"""The command that imports a sheet, over the same services as the page."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from blocks.tenancy import stating
from monitoring.models import Sheet, Tally
from tests.builders import World
from tests.desks import bag_row, bag_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheet_file(tmp_path: Path) -> Path:
    path = tmp_path / "august.csv"
    path.write_bytes(bag_sheet(bag_row(), bag_row(bag=2)))
    return path


def run(
    world: World,
    path: Path,
    *flags: str,
    role: str = "lab",
    out: StringIO | None = None,
) -> str:
    out = out or StringIO()
    person = world.people[role].email
    call_command(
        "import_counts", world.slug, str(path), "--as", person, *flags, stdout=out
    )
    return out.getvalue()


def tallies(world: World) -> int:
    with stating(world.group.pk):
        return Tally.objects.count()


def test_without_publish_nothing_counts(world: World, sheet_file: Path) -> None:
    assert "august.csv is checked." in run(world, sheet_file)
    assert tallies(world) == 0


def test_publish_lets_it_count_and_a_second_run_changes_nothing(
    world: World, sheet_file: Path
) -> None:
    assert "august.csv is published." in run(world, sheet_file, "--publish")
    assert tallies(world) == 6
    assert "published before" in run(world, sheet_file, "--publish")
    assert tallies(world) == 6
    with stating(world.group.pk):
        assert Sheet.objects.count() == 1


def test_an_answer_is_taken_from_the_command_line(
    world: World, sheet_file: Path
) -> None:
    sheet_file.write_bytes(bag_sheet(bag_row(collected_on="03/04/2026", washed_on="")))
    with pytest.raises(CommandError, match="open questions"):
        run(world, sheet_file, "--publish")
    run(world, sheet_file, "--publish", "--answer", "slash_dates=day_first")
    assert tallies(world) == 3


def test_errors_are_told_by_row_and_keep_the_sheet_back(
    world: World, sheet_file: Path
) -> None:
    sheet_file.write_bytes(bag_sheet(bag_row(rust_mites="x")))
    out = StringIO()
    with pytest.raises(CommandError, match="has errors or open questions"):
        run(world, sheet_file, out=out)
    assert "error: row 2, rust_mites: “x” is not a count" in out.getvalue()
    with pytest.raises(CommandError, match="errors or open questions"):
        run(world, sheet_file, "--publish")
    assert tallies(world) == 0


@pytest.mark.parametrize("role", ["grower", "consultant"])
def test_only_those_who_count_may_import(
    world: World, sheet_file: Path, role: str
) -> None:
    with pytest.raises(CommandError, match="Your role"):
        run(world, sheet_file, role=role)
    with stating(world.group.pk):
        assert not Sheet.objects.exists()


def test_wrong_names_end_in_a_sentence(world: World, sheet_file: Path) -> None:
    with pytest.raises(CommandError, match="There is no file"):
        run(world, sheet_file.with_name("none.csv"))
    with pytest.raises(CommandError, match="Nobody has the e-mail"):
        call_command("import_counts", world.slug, str(sheet_file), "--as", "x@y.z")
    with pytest.raises(CommandError, match="no part in such a group"):
        call_command(
            "import_counts",
            "elsewhere",
            str(sheet_file),
            "--as",
            world.people["lab"].email,
        )
    with pytest.raises(CommandError, match="KEY=VALUE"):
        run(world, sheet_file, "--answer", "slash_dates")


def test_a_file_that_cannot_be_read_is_a_failure(
    world: World, sheet_file: Path
) -> None:
    sheet_file.write_bytes(b"%PDF-1.7\n")
    with pytest.raises(CommandError, match="not published"):
        run(world, sheet_file)
