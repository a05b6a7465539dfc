"""How many recounts find a counter's slips: simulated counters, nobody being at hand.

    python -m tests.benchmarks.bench_slips

Invented: dishes of 208 cells with 8 animals a cell (k 1), counted in two stages for a
standard error of 15 in 100 by someone whose fingers slip in a share of the hits: half
of the slips miss an animal, a quarter count one twice, a quarter hit another organism's
key; a share of them is heard and undone. 0.5 to 3 percent is what is reported of keyed
entries (0.55 to 3.6 percent, review in Barchard & Verenikina 2013 and Barchard 2020,
read in abstract); shares undone are assumed. A senior counter recounts blind, with
slips of 0.5 percent and 95 of 100 undone: once over the same places, once over cells
drawn anew. Said for each: wrong hits that are left, what they do to the total, and how
many recounts show the difference in 80 of 100 series (mean of the logarithms' ratio
beyond two standard errors).
"""

import sys

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SEED, DISHES = 20260801, 4000
CELLS, MEAN, CELL_K, READ = 208, 8.0, 1.0, 24
SLIPS, UNDONE = (0.005, 0.01, 0.03), (0.0, 0.8, 0.95)
SENIOR = (0.005, 0.95)
# A key that is taken for another's for one cell in so many; nothing of it undone.
GROSS_SHARES = (1 / READ, 0.1, 0.3)
# Chances that a series is noticed, and that one without any difference is.
DEVIATES = 2.0 + 0.8416
MOST = 2_000


def keyed(
    chance: np.random.Generator, animals: Floats, slips: float, undone: float
) -> Floats:
    """Give what is counted of animals by someone whose fingers slip."""
    left = slips * (1 - undone)
    missed = chance.binomial(animals.astype(int), 0.75 * left)
    doubled = chance.binomial(animals.astype(int), 0.25 * left)
    return animals - missed + doubled


def dishes(chance: np.random.Generator) -> Floats:
    """Make cells with clumped animals, one dish a row."""
    level = MEAN * chance.gamma(CELL_K, 1 / CELL_K, (DISHES, CELLS))
    return chance.poisson(level).astype(float)


def some_cells(chance: np.random.Generator, dish: Floats) -> Floats:
    """Add up the animals of random cells of each dish."""
    order = chance.random(dish.shape).argsort(axis=1)[:, :READ]
    read: Floats = np.take_along_axis(dish, order, axis=1).sum(axis=1)
    return read


def recounts(first: Floats, second: Floats) -> str:
    """Say how many pairs show that two counters differ, in 80 of 100 series."""
    apart = np.log(first + 0.5) - np.log(second + 0.5)
    needed = (DEVIATES * apart.std() / max(abs(apart.mean()), 1e-9)) ** 2
    return f"{max(2, int(np.ceil(needed))):,}" if needed < MOST else f"over {MOST:,}"


def line(chance: np.random.Generator, slips: float, undone: float, gross: float) -> str:
    """Say what one counter's slips come to."""
    dish = dishes(chance)
    seen, anew = some_cells(chance, dish), some_cells(chance, dish)
    counted = keyed(chance, seen * (1 - gross), slips, undone)
    bias = counted.sum() / seen.sum() - 1
    same = recounts(counted, keyed(chance, seen, *SENIOR))
    fresh = recounts(counted, keyed(chance, anew, *SENIOR))
    left = slips * (1 - undone) + gross
    return (
        f"{slips:8.1%} {undone:8.0%} {gross:8.1%} {left:10.2%} {bias:9.2%}"
        f" {same:>12} {fresh:>12}\n"
    )


def main() -> int:
    """Say a line for each counter."""
    chance = np.random.default_rng(SEED)
    sys.stdout.write(
        "   slips   undone    gross  left wrong     total  same places  cells anew\n"
    )
    for slips in SLIPS:
        for undone in UNDONE:
            sys.stdout.write(line(chance, slips, undone, 0.0))
    for gross in GROSS_SHARES:
        sys.stdout.write(line(chance, SLIPS[1], UNDONE[-1], gross))
    return 0


if __name__ == "__main__":
    sys.exit(main())
