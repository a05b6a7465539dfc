"""Time and memory of many rounds' posteriors, against statsmodels' fits in one run.

    python -m tests.benchmarks.densities

Rounds are invented: 20 bags, up to four distinct proportions counted, seeded. Both
models and both kinds of recovery are timed, in turns with the fits, the best of three
each. Allowed: 1/20 (averaged: 1/3) of the time of as many negative binomial fits by
maximum likelihood, quantiles within 0.5 percent of a fine grid, and 300 MB more memory
at the peak.
"""

import resource
import sys
import time
import warnings

import numpy as np
import statsmodels.api as sm

from monitoring.estimation import (
    DEFAULT_SIGMA_PRIOR,
    BetaRecovery,
    estimate_densities,
)
from tests.core.slow_posterior import SlowPosterior

ROUNDS, BAGS, SEED = 1000, 20, 20260801
PROPORTIONS = np.array([1.0, 0.5, 0.25, 0.1])
RECOVERIES = {"fixed recovery": 0.85, "beta recovery": BetaRecovery(162.15, 27.83)}
ALLOWED_SHARES = {"negative_binomial": 1 / 20, "averaged": 1 / 3}
ALLOWED_MB, ALLOWED_DISTANCE = 300, 0.005
SHOWN = np.array([0.025, 0.1, 0.5, 0.9, 0.975])
CHECKED = {"negative_binomial": range(0, ROUNDS, 50), "averaged": range(0, ROUNDS, 250)}


def invented_rounds():
    """Clumped counts at many densities, thinned by recovery and proportion counted."""
    chance = np.random.default_rng(SEED)
    counts, shares = [], []
    for _ in range(ROUNDS):
        density = np.exp(chance.normal(3.0, 1.5))
        k = chance.choice([0.15, 0.5, 1.0, 3.0])
        share = PROPORTIONS[chance.integers(0, PROPORTIONS.size, BAGS)]
        on_leaf = chance.gamma(k, density / k, BAGS)
        counts.append(chance.poisson(on_leaf * 0.85 * share))
        shares.append(share)
    return counts, shares


def best_seconds(works, *, turns=3):
    """Take turns, so that all meet the same machine; give each one's best."""
    best = dict.fromkeys(works, np.inf)
    for _ in range(turns):
        for name, work in works.items():
            begun = time.perf_counter()
            work()
            best[name] = min(best[name], time.perf_counter() - begun)
    return best


def peak_mb():
    """Highest resident memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def fit_each(counts, shares):
    """Fit every round by maximum likelihood; rounds that cannot be fitted count too."""
    constant = np.ones((BAGS, 1))
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        for of_round, share in zip(counts, shares, strict=True):
            try:
                sm.NegativeBinomial(of_round, constant, exposure=share).fit(disp=0)
            except np.linalg.LinAlgError:
                continue


def farthest_from_fine_grid(counts, shares, model):
    """Largest relative distance of a finite quantile shown, of some rounds."""
    farthest, rows = 0.0, CHECKED[model]
    sigma_prior = DEFAULT_SIGMA_PRIOR if model == "averaged" else None
    for recovery in RECOVERIES.values():
        found = estimate_densities(
            [counts[row] for row in rows],
            proportions_counted=[shares[row] for row in rows],
            recovery=recovery,
            model=model,
        )
        for row, estimate in zip(rows, found, strict=True):
            slow = SlowPosterior(
                counts[row].tolist(),
                shares[row].tolist(),
                recovery=recovery,
                sigma_prior=sigma_prior,
            )
            shown = SHOWN if np.isfinite(estimate.high) else SHOWN[:-1]
            distance = estimate.quantiles_at(shown) / slow.quantiles(shown) - 1
            farthest = max(farthest, float(np.abs(distance).max()))
    return farthest


def works_of(counts, shares):
    """Give what is timed: each model with each kind of recovery."""
    return {
        (model, name): lambda model=model, given=given: estimate_densities(
            counts, proportions_counted=shares, recovery=given, model=model
        )
        for model in ALLOWED_SHARES
        for name, given in RECOVERIES.items()
    }


def main():
    """Print times, their ratio and the memory; 1 if a limit is broken."""
    counts, shares = invented_rounds()
    estimate_densities(counts[:2], proportions_counted=shares[:2], model="averaged")
    before = peak_mb()
    works = works_of(counts, shares)
    for work in works.values():
        work()
    grown = peak_mb() - before
    ours = best_seconds(works | {"statsmodels": lambda: fit_each(counts, shares)})
    theirs = ours.pop("statsmodels")
    sys.stdout.write(f"{ROUNDS} rounds of {BAGS} bags; statsmodels {theirs:.2f} s\n")
    kept = grown <= ALLOWED_MB
    for (model, name), seconds in ours.items():
        sys.stdout.write(
            f"{model}, {name}: {seconds:.3f} s, 1/{theirs / seconds:.1f} of"
            " statsmodels\n"
        )
        kept = kept and seconds <= ALLOWED_SHARES[model] * theirs
    sys.stdout.write(f"peak memory grew by {grown:.0f} MB\n")
    for model in ALLOWED_SHARES:
        distance = farthest_from_fine_grid(counts, shares, model)
        sys.stdout.write(
            f"{model}: farthest from a fine grid {100 * distance:.2f} percent\n"
        )
        kept = kept and distance <= ALLOWED_DISTANCE
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
