"""Upload a sheet and carry it through its steps, as a worker would."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import transaction

from blocks.access import Member, member_for
from blocks.tenancy import stating
from monitoring.models import Sheet, SheetFinding
from monitoring.sheets import services
from monitoring.sheets.work import work_on
from tests.builders import World

HEADER = (
    "bag,block,collected_on,tissue,position,growth_stage,washed_on,alcohol_percent,"
    "volume_ml,shake_s,dish,rust_mites,rust_mites_cells,predatory_mites,"
    "predatory_mites_cells,thrips,thrips_cells,symptoms,analyst,note"
)


def bag_row(**values: object) -> str:
    """Write one row of the bag layout; what is not given is usual."""
    usual = {
        "bag": "1",
        "block": "Block 0",
        "collected_on": "2026-08-14",
        "tissue": "leaf",
        "position": "mid",
        "growth_stage": "BBCH 75",
        "washed_on": "2026-08-15",
        "alcohol_percent": "35",
        "volume_ml": "50",
        "shake_s": "30",
        "rust_mites": "3",
        "predatory_mites": "0",
        "thrips": "1",
        "symptoms": "1",
    }
    row = usual | {name: str(value) for name, value in values.items()}
    return ",".join(row.get(name, "") for name in HEADER.split(","))


def bag_sheet(*rows: str) -> bytes:
    return "\n".join([HEADER, *rows, ""]).encode()


@dataclass
class Desk:
    """One person's way with sheets."""

    world: World
    role: str = "lab"

    def _member(self) -> Member:
        return member_for(self.world.people[self.role], self.world.slug)

    def upload(self, content: bytes, name: str = "sheet.csv") -> Sheet:
        with transaction.atomic():
            sheet, _ = services.receive(
                self._member(), file_name=name, chunks=[content]
            )
        return self.work(sheet)

    def upload_file(self, path: Path) -> Sheet:
        return self.upload(path.read_bytes(), path.name)

    def work(self, sheet: Sheet) -> Sheet:
        work_on(self.world.group.pk, sheet.pk)
        with stating(self.world.group.pk):
            sheet.refresh_from_db()
        return sheet

    def answer(self, sheet: Sheet, **answers: str) -> Sheet:
        return self.answer_all(sheet, answers)

    def answer_all(self, sheet: Sheet, answers: dict[str, str]) -> Sheet:
        with transaction.atomic():
            services.answer(self._member(), sheet, answers=answers)
        return self.work(sheet)

    def publish(self, sheet: Sheet) -> Sheet:
        with transaction.atomic():
            services.publish(self._member(), sheet)
        return self.work(sheet)

    def findings(self, sheet: Sheet) -> list[SheetFinding]:
        with stating(self.world.group.pk):
            return list(
                SheetFinding.objects.filter(sheet=sheet).order_by("row_number", "pk")
            )

    def codes(self, sheet: Sheet, level: str = "error") -> list[str]:
        return [row.code for row in self.findings(sheet) if row.level == level]


@pytest.fixture
def desk(world: World) -> Desk:
    """The lab analyst's desk; the world's first block is named “Block 0”."""
    return Desk(world)


@pytest.fixture
def desk_of(world: World) -> Callable[[str], Desk]:
    return lambda role: Desk(world, role)
