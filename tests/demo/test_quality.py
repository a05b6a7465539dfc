"""The demo's recounts and blanks: made up, repeatable, and with a story to find."""

import csv
from datetime import date, timedelta
from io import StringIO

import numpy as np

from deploy.demo.almanac import THIS_SEASON, TOURS
from deploy.demo.laboratory import DENSE
from deploy.demo.quality import (
    SELDOM_COUNTS,
    blank_sheets,
    recount_sheets,
    recounted_rounds,
)
from deploy.demo.rounds import history
from deploy.demo.sheets import DemoSheet
from monitoring.estimation import counter_drift

TODAY = date(2026, 8, 20)
LEAF_TOURS = [
    tour for tour in TOURS if tour.season == THIS_SEASON and tour.tissue == "leaf"
]


def _rows(sheet: DemoSheet) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(sheet.text)))


def test_recounts_are_further_readings_by_others_of_whole_dishes() -> None:
    first = {
        (one.block.name, one.season, one.day, bag.code): bag.readings
        for one in history()
        for bag in one.bags
    }
    for tour in LEAF_TOURS:
        for sampled in recounted_rounds(tour):
            for bag in sampled.bags:
                key = (sampled.block.name, sampled.season, sampled.day, bag.code)
                [counted] = first[key]
                second, third = bag.readings
                assert (second.number, third.number) == (2, 3)
                readers = {counted.analyst, second.analyst, third.analyst}
                assert len(readers) == 3
                assert bag.washed_off["rust_mites"] <= DENSE
                assert all(not seen.cells for seen in second.seen.values())


def test_the_coordinators_counts_fall_behind() -> None:
    days, ratios, counters = [], [], set()
    for tour in LEAF_TOURS:
        for sampled in recounted_rounds(tour):
            for bag in sampled.bags:
                own = bag.readings[1].seen["rust_mites"].count or 0
                other = bag.readings[0].seen["rust_mites"].count or 0
                counters.add(bag.readings[1].analyst)
                days.append(float(sampled.day))
                ratios.append(np.log10((own + 1) / (other + 1)))
    assert counter_drift(days, ratios).slope_high < 0
    assert counters == {SELDOM_COUNTS}


def test_sheets_come_out_the_same_whatever_the_day() -> None:
    for make in (recount_sheets, blank_sheets):
        now = list(make(today=TODAY))
        later = list(make(today=TODAY + timedelta(days=7)))
        assert [len(_rows(one)) for one in now] == [len(_rows(one)) for one in later]
        assert [one.finished_on + timedelta(days=7) for one in now] == [
            one.finished_on for one in later
        ]
        assert [row["rust_mites"] for one in now for row in _rows(one)] == [
            row["rust_mites"] for one in later for row in _rows(one)
        ]
        assert all(one.finished_on < TODAY for one in now)


def test_blanks_follow_bags_and_bring_little() -> None:
    rows = [row for sheet in blank_sheets(today=TODAY) for row in _rows(sheet)]
    bags = {(one.block.name, bag.code): bag for one in history() for bag in one.bags}
    found = [int(row["rust_mites"]) for row in rows]
    assert len(found) == 3 * 16
    assert 0 < sum(found) < len(found)
    assert all((row["block"], row["after_bag"]) in bags for row in rows)
    assert {row["predatory_mites"] for row in rows} == {"0"}
