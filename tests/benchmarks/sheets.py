"""A long count sheet against a bare COPY and django-import-export, in one run.

    python -m tests.benchmarks.sheets [ROWS]

Invented counts: 100 blocks, bags of 20 a round, three organisms, a tenth of the rust
mites counted in random cells. Our time is the whole way: keep the file, read, check
and publish as the site's role behind row-level security. COPY is the owner's, of the
very rows that came of it (rounds, bags, washes, tallies, scores, changes) into the same
emptied tables, all in one transaction. django-import-export runs in bulk mode without
diffs or look-ups and is handed keys for every row of bags, washes and tallies; a row is
a sheet row for all three. Allowed: 4 times the COPY, a fifteenth of
django-import-export a row, and 60 MB more memory at the peak than a sheet a tenth as
long. Needs the environment of the tests.
"""

import csv
import os
import random
import resource
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace
from typing import Any

# ruff: noqa: E402 - models can be imported once Django is set up
import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.project.settings")
django.setup()

import tablib
from django.conf import settings
from django.db import connections, transaction
from import_export.resources import ModelResource, modelresource_factory

from blocks.access import member_for
from blocks.models import Block, Membership
from blocks.services.groups import add_farm, add_member, create_farm_group
from blocks.tenancy import stating
from deploy.provisioning import prepare
from monitoring.models import Bag, Dish, Organism, Round, Sheet, Tally, Wash
from monitoring.services.laboratory import set_up_laboratory
from monitoring.sheets import services
from monitoring.sheets.work import work_on
from tests.builders import add_block, make_user
from tests.conftest import _database_name, _drop_database, _make_database
from tests.desks import HEADER

ROWS, BLOCKS, BAGS, SEED = 100_000, 100, 20, 20260801
ROWS_OF_THEIRS = 1_000
ALLOWED_TIMES_COPY, ALLOWED_SHARE, ALLOWED_MB = 4, 1 / 15, 60
TABLES = ("round", "bag", "wash", "tally", "symptomscore", "roundchange")


@contextmanager
def own_database() -> Iterator[None]:
    """Make a database for this run, walled as in production."""
    name = _database_name("benchmark", kept=False)
    _make_database(name, keep=False)
    try:
        for alias in ("owner", "default"):
            connections[alias].close()
            connections[alias].settings_dict["NAME"] = name
            settings.DATABASES[alias]["NAME"] = name
        assert prepare("owner", verbosity=0) == []
        with TemporaryDirectory() as folder:
            settings.FILES_DIR = Path(folder)
            yield
    finally:
        connections["default"].close()
        connections["default"].close_pool()
        connections["owner"].close()
        _drop_database(name)


def invented_sheet(path: Path, rows: int, *, first_day: date) -> None:
    """Write a sheet of the bag layout."""
    chance = random.Random(SEED)  # noqa: S311 - invented counts, no secrets
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(HEADER.split(","))
        for number in range(rows):
            visit, bag = divmod(number, BAGS)
            week, block = divmod(visit, BLOCKS)
            day = first_day + timedelta(days=week)
            mites = int(chance.gammavariate(0.6, 60))
            out.writerow([
                bag + 1, f"Block {block}", day, "leaf", "mid" if bag % 2 else "upper",
                "BBCH 75", day + timedelta(days=1), 35, 50, 30, "", mites,
                24 if chance.random() < 0.1 else "", chance.randrange(4), "",
                chance.randrange(6), "", chance.randrange(5), "A. Counter", "",
            ])  # fmt: skip


def farm_group() -> Any:
    """Make a farm group with a laboratory, blocks and a lab analyst."""
    group = create_farm_group(name="Long rows", slug="long-rows")
    set_up_laboratory(group)
    farm = add_farm(group, name="Farm")
    for index in range(BLOCKS):
        add_block(farm, f"Block {index}", west=10 + 0.01 * index)
    person = make_user("lab")
    add_member(
        group, user=person, role=Membership.Role.LAB, valid_from=date(2000, 1, 1)
    )
    return SimpleNamespace(
        pk=group.pk, group=group, member=lambda: member_for(person, group.slug)
    )


def import_whole(group: Any, path: Path) -> dict[str, float]:
    """Upload, read, check and publish a sheet; seconds by step."""
    begun = time.perf_counter()
    with transaction.atomic(), path.open("rb") as file:
        sheet, _ = services.receive(
            group.member(),
            file_name=path.name,
            chunks=iter(lambda: file.read(1 << 20), b""),
        )
    work_on(group.pk, sheet.pk)
    checked = time.perf_counter()
    with stating(group.pk):
        sheet.refresh_from_db()
        services.publish(group.member(), sheet)
    state = work_on(group.pk, sheet.pk)
    ended = time.perf_counter()
    if state != "published":
        raise SystemExit(f"The sheet was not published: {state}, {sheet.summary}")
    return {"read and check": checked - begun, "publish": ended - checked}


def empty_tables() -> None:
    """Empty the tables that a sheet fills."""
    with connections["owner"].cursor() as cursor:
        cursor.execute(
            "TRUNCATE " + ", ".join(f"monitoring_{t}" for t in TABLES) + " CASCADE"
        )


def copy_again() -> float:
    """Take the rows out, empty the tables, and time the owner's COPY of them."""
    link = connections["owner"]
    link.ensure_connection()
    taken: dict[str, bytes] = {}
    with link.cursor() as cursor:
        for table in TABLES:
            # Where it is forced, row-level security hides rows from the owner too, and
            # refuses COPY.
            cursor.execute(
                f"ALTER TABLE monitoring_{table} NO FORCE ROW LEVEL SECURITY"
            )
            out = BytesIO()
            with cursor.copy(f"COPY monitoring_{table} TO STDOUT") as copy:
                for block in copy:
                    out.write(block)
            taken[table] = out.getvalue()
    best = float("inf")
    for _ in range(2):
        empty_tables()
        begun = time.perf_counter()
        with link.cursor() as cursor:
            cursor.execute("BEGIN")
            for table, content in taken.items():
                with cursor.copy(f"COPY monitoring_{table} FROM STDIN") as copy:
                    copy.write(content)
            cursor.execute("COMMIT")
        best = min(best, time.perf_counter() - begun)
    return best


def their_seconds(group: Any) -> float:
    """Time django-import-export in bulk mode, per sheet row."""

    class Bulk(ModelResource):
        class Meta:
            use_bulk, batch_size, use_transactions = True, 1000, True
            skip_diff, force_init_instance, skip_html_diff = True, True, True
            report_skipped = False

        def after_import(self, *_: Any, **__: Any) -> None:
            """Leave sequences alone, which the site's role may not set."""

    def load(model: Any, rows: list[dict[str, Any]]) -> None:
        maker = modelresource_factory(model, resource_class=Bulk)()
        table = tablib.Dataset(
            *[tuple(row.values()) for row in rows], headers=list(rows[0])
        )
        maker.import_data(table, raise_errors=True)

    with stating(group.pk):
        block = Block.objects.for_group(group.pk).first()
        dish = Dish.objects.for_group(group.pk).first()
        kinds = list(Organism.objects.for_group(group.pk))[:3]
        sheet = Sheet.objects.for_group(group.pk).first()
        visit = Round.objects.create(
            farm_group=group.group, block=block, collected_on=date(1999, 1, 1)
        )
        keys = range(50_000_000, 50_000_000 + ROWS_OF_THEIRS)
        mine = {"farm_group": group.pk}
        begun = time.perf_counter()
        load(Bag, [
            {"id": key, **mine, "round": visit.pk, "code": f"x{key}", "tissue": "leaf",
             "position": "mid", "units": 1, "way": "counted"} for key in keys
        ])  # fmt: skip
        load(Wash, [
            {"id": key, **mine, "bag": key, "number": 1, "washed_on": "1999-01-02",
             "alcohol_percent": 35, "volume_ml": 50, "shake_s": 30, "dishes": 1}
            for key in keys
        ])  # fmt: skip
        load(Tally, [
            {"id": 3 * key + place, **mine, "wash": key, "organism": kind.pk,
             "dish": dish.pk, "dish_number": 1, "reading": 1, "scope": "whole",
             "proportion_counted": 1, "outcome": "counted", "count": 3,
             "state": "published", "chosen": 1, "source_sheet": sheet.pk,
             "source_row": 1}
            for key in keys for place, kind in enumerate(kinds)
        ])  # fmt: skip
        seconds = time.perf_counter() - begun
        # Counted alone: over tables just emptied and filled a join has no statistics.
        assert Tally.objects.for_group(group.pk).count() == 3 * len(keys)
    return seconds / ROWS_OF_THEIRS


def peak_mb() -> float:
    """Give the highest resident memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def run(rows: int, say: Callable[[str], object]) -> bool:
    """Measure all three; tell whether the limits are kept."""
    group = farm_group()
    with TemporaryDirectory() as folder:
        short, long = Path(folder, "short.csv"), Path(folder, "long.csv")
        invented_sheet(short, rows // 10, first_day=date(2001, 1, 1))
        import_whole(group, short)
        before = peak_mb()
        empty_tables()
        invented_sheet(long, rows, first_day=date(2015, 1, 1))
        steps = import_whole(group, long)
        grown = peak_mb() - before
    ours = sum(steps.values())
    bare = copy_again()
    empty_tables()
    theirs = their_seconds(group)
    told = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in steps.items())
    say(f"{rows:,} sheet rows: {ours:.2f} s ({told})\n")
    say(f"bare COPY of what came of them: {bare:.2f} s;"
        f" ours is {ours / bare:.2f} times\n")  # fmt: skip
    say(f"django-import-export: {theirs * 1e6:.0f} us a row; ours is"
        f" {theirs * rows / ours:.1f} times faster\n")  # fmt: skip
    say(f"peak memory grew by {grown:.0f} MB over a tenth of the rows\n")
    return (
        ours <= ALLOWED_TIMES_COPY * bare
        and ours / rows <= ALLOWED_SHARE * theirs
        and grown <= ALLOWED_MB
    )


def main() -> int:
    """Print the figures; 1 if a limit is broken."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    with own_database():
        return 0 if run(rows, sys.stdout.write) else 1


if __name__ == "__main__":
    sys.exit(main())
