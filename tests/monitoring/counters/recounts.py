"""Sheets with dishes that were counted again, and blank washes."""

from collections.abc import Iterable
from dataclasses import dataclass

from tests.desks import HEADER, bag_row

BLANK_HEADER = (
    "blank,washed_on,after_bag,block,collected_on,dish,rust_mites,rust_mites_cells,"
    "thrips,analyst,note"
)


@dataclass(frozen=True)
class Read:
    """One reading of a bag's dish."""

    bag: int
    reading: int
    analyst: str
    mites: object
    cells: str = ""
    day: str = "2026-08-14"


def recount_sheet(readings: Iterable[Read]) -> bytes:
    """Write one row a reading; all bags of the first block."""
    rows = [
        bag_row(
            bag=one.bag,
            collected_on=one.day,
            washed_on=one.day,
            rust_mites=one.mites,
            rust_mites_cells=one.cells,
            thrips="",
            predatory_mites="",
            analyst=one.analyst,
        )
        + f",{one.reading}"
        for one in readings
    ]
    return "\n".join([f"{HEADER},reading", *rows, ""]).encode()


def twice(
    first: Iterable[int],
    second: Iterable[int],
    *,
    people: tuple[str, str],
    days: Iterable[str] = (),
) -> list[Read]:
    """Give two readings of each dish, by two people."""
    pairs = list(zip(first, second, strict=True))
    dates = list(days) or ["2026-08-14"] * len(pairs)
    return [
        Read(bag, number, people[number - 1], mites, day=day)
        for bag, (pair, day) in enumerate(zip(pairs, dates, strict=True), 1)
        for number, mites in enumerate(pair, 1)
    ]


def blank_row(**values: object) -> str:
    """Write one row of the layout of blank washes; what is not given is usual."""
    usual = {"blank": "B1", "washed_on": "2026-08-15", "rust_mites": "0", "thrips": "0"}
    row = usual | {name: str(value) for name, value in values.items()}
    return ",".join(row.get(name, "") for name in BLANK_HEADER.split(","))


def blank_sheet(*rows: str) -> bytes:
    return "\n".join([BLANK_HEADER, *rows, ""]).encode()
