"""The site's figures of a reading, for the bench after it is finished.

An organism's animals per leaf, shoot or bud are those of its bag alone: the dish's
total over the recovery in force, with the spread of the cells, of the recovery and of
the wash (`animals_of_bag`). Its round's density is estimated from the bags as they are
now, as the stored one will be.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import log1p
from statistics import fmean, stdev
from typing import Any

from monitoring.bench.dish_figures import DishFigure, figure_of_dish
from monitoring.bench.judging import Counted, Plan
from monitoring.densities.compute import estimate_of, finite_or_none
from monitoring.densities.inputs import Settings, recovery_value, settings_of
from monitoring.densities.samples import Sample, samples_of_rounds
from monitoring.estimation import BagAnimals, animals_of_bag
from monitoring.models import Bag, BenchReading, Organism
from monitoring.pages.dish_cells_page import grid_of
from monitoring.queries.bench_readings import (
    dishes_of_wash,
    earlier_rounds,
    organisms_by_key,
)
from monitoring.words import bags, figure, interval, sentence_case

MOST_ROUNDS = 20
# Fewer bags say little of what is usual on a block.
FEWEST_BAGS = 10
SIGMAS = 3.0


def counted_of(told: Mapping[str, Any]) -> list[Counted]:
    """Give a reading's counts as they were kept with it."""
    return [
        Counted(**{**one, "cells": tuple(map(tuple, one["cells"]))})
        for one in told.get("counted", [])
    ]


def plan_kept(told: Mapping[str, Any]) -> Plan:
    """Give how a reading's cells were drawn, as it was kept with it."""
    return Plan(**told.get("plan", {}))


def dish_words(one: Counted, dish: DishFigure) -> str:
    """Say how many animals a dish holds by a count, with the interval if expanded."""
    # Also where all of its cells were read, one by one.
    if one.scope == "whole" or dish.low == dish.total == dish.high:
        return f"{one.count:,}"
    best = "at best " if dish.at_best else ""
    within = interval(dish.low, finite_or_none(dish.high))
    return f"about {figure(dish.total)} ({best}{within})"


@dataclass(frozen=True, slots=True)
class _Of:
    """A finished reading's bag with what its figures are made with."""

    bag: Bag
    dishes: int
    settings: Settings


@dataclass(frozen=True, slots=True)
class _Line:
    """One organism of the reading, expanded to its dish and to its bag.

    dish is None where it was not countable, animals where the dish is not all.
    """

    one: Counted
    organism: Organism
    dish: DishFigure | None
    animals: BagAnimals | None

    def per_unit(self, units: int) -> tuple[float | None, float | None, float | None]:
        """Give animals per unit with their interval; None where not known."""
        found = self.animals
        if found is None:
            return None, None, None
        high = finite_or_none(found.high)
        return (
            found.animals / units,
            found.low / units,
            None if high is None else high / units,
        )


def bench_figure(reading: BenchReading) -> dict[str, Any]:
    """Work out a reading's figures as the bench shows them; at most 9 queries."""
    answer: dict[str, Any] = {
        "state": reading.state,
        "provisional": False,
        "organisms": [],
        "round": [],
        "out_of_range": [],
    }
    counted = counted_of(reading.told)
    if reading.bag is None or reading.dish is None or not counted:
        return answer
    group_id = reading.farm_group_id
    of = _Of(reading.bag, dishes_of_wash(reading), settings_of(group_id))
    organisms = organisms_by_key(group_id)
    grid, plan = grid_of(reading.dish), plan_kept(reading.told)
    lines = [
        _line(
            one, organisms[one.organism], figure_of_dish(one, grid=grid, plan=plan), of
        )
        for one in counted
        if one.organism in organisms
    ]
    before = _usual(of.bag)
    return answer | {
        "organisms": [_told(line, of) for line in lines],
        "round": list(_round(of, [line.organism for line in lines])),
        "out_of_range": [
            words
            for line in lines
            if (words := _odd(line, of, before.get(line.organism.pk, [])))
        ],
    }


def _line(one: Counted, organism: Organism, dish: DishFigure | None, of: _Of) -> _Line:
    return _Line(one, organism, dish, _animals(one, dish, organism, of))


def _animals(
    one: Counted, found: DishFigure | None, organism: Organism, of: _Of
) -> BagAnimals | None:
    """Give the bag's animals; None where its dish is not all that there is."""
    if found is None or one.count is None or of.dishes > 1:
        return None
    recovery = of.settings.recovery_on(
        of.bag.round.collected_on, organism_id=organism.pk, tissue=of.bag.tissue
    )
    share = one.proportion if not found.total else min(one.count / found.total, 1.0)
    return animals_of_bag(
        found.total,
        standard_error=found.standard_error,
        seen=one.count,
        proportion_counted=share or one.proportion,
        recovery=recovery_value(recovery),
    )


def _told(line: _Line, of: _Of) -> dict[str, Any]:
    dish = line.dish
    per_unit, low, high = line.per_unit(of.bag.units)
    return {
        "id": line.one.organism,
        "dish_total": dish.total if dish else None,
        "low": dish.low if dish else None,
        "high": finite_or_none(dish.high) if dish else None,
        "per_unit": per_unit,
        "per_unit_low": low,
        "per_unit_high": high,
        "words": _words(line, of),
    }


def _words(line: _Line, of: _Of) -> str:
    name, dish, unit = sentence_case(line.organism.name), line.dish, of.bag.tissue
    if dish is None:
        return f"{name}: uncountable."
    which = "whole dish" if line.one.scope == "whole" else "dish"
    in_dish = f"{dish_words(line.one, dish)} in the {which}"
    per_unit, low, high = line.per_unit(of.bag.units)
    if per_unit is None:
        return (
            f"{name}: {in_dish}; the wash fills {of.dishes} dishes, and what lay on"
            f" the {unit} follows from all of them."
        )
    on_unit = f"{figure(per_unit)} per {unit} ({interval(low, high)})"
    return f"{name}: {in_dish}; {on_unit}."


def _round(of: _Of, organisms: Iterable[Organism]) -> Iterable[dict[str, Any]]:
    """Estimate the round's densities of the organisms counted, as they are now."""
    of_round = of.bag.round
    samples = {
        sample.organism_id: sample
        for sample in samples_of_rounds(of.bag.farm_group_id, [of_round.pk])
        if sample.tissue == of.bag.tissue
    }
    for organism in organisms:
        sample = samples.get(organism.pk)
        if sample is not None:
            yield _of_round(of, organism, sample)


def _of_round(of: _Of, organism: Organism, sample: Sample) -> dict[str, Any]:
    used, missing = len(sample.counted), len(sample.missing)
    told: dict[str, Any] = {
        "organism": str(organism.uuid),
        "median": None,
        "low": None,
        "high": None,
        "bags_used": used,
        "bags_missing": missing,
    }
    name = sentence_case(organism.name)
    if not sample.counted:
        return told | {"words": f"{name}: no figure of the round yet."}
    estimate = estimate_of(of.bag.round.collected_on, sample, of.settings)
    high = finite_or_none(estimate.high)
    at_least = "at least " if sample.uncountable else ""
    return told | {
        "median": estimate.median,
        "low": estimate.low,
        "high": high,
        "words": (
            f"{name}, the round so far: {at_least}{figure(estimate.median)} per"
            f" {of.bag.tissue} ({interval(estimate.low, high)}) from {bags(used)}"
            f"{f', {missing} waiting' if missing else ''}."
        ),
    }


def _usual(bag: Bag) -> dict[int, list[float]]:
    """Give what bags of a block held before, by organism: ln of animals and one more.

    Animals are those washed off a unit; the seasons' growth is part of their spread.
    """
    usual: dict[int, list[float]] = defaultdict(list)
    rounds = earlier_rounds(bag.round, most=MOST_ROUNDS)
    for sample in samples_of_rounds(bag.farm_group_id, rounds) if rounds else ():
        if sample.tissue == bag.tissue:
            usual[sample.organism_id] += [
                log1p(one.animals / (one.proportion_counted * one.units))
                for one in sample.counted
            ]
    return usual


def _odd(line: _Line, of: _Of, usual: list[float]) -> str:
    """Ask for a recount where a bag is far from those of its block before."""
    if line.dish is None or of.dishes > 1 or len(usual) < FEWEST_BAGS:
        return ""
    spread, middle = stdev(usual), fmean(usual)
    apart = log1p(line.dish.total / of.bag.units) - middle
    if spread == 0 or abs(apart) <= SIGMAS * spread:
        return ""
    side, name = "above" if apart > 0 else "below", line.organism.name
    return (
        f"{sentence_case(name)}: this bag is more than {SIGMAS:g} standard"
        f" deviations {side} the {len(usual)} bags of this block counted before. It may"
        " well be so; have somebody count it again without seeing this count."
    )
