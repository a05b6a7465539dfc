"""How scarred each leaf looks, and by what: invented, farm by farm."""

from collections.abc import Mapping

import numpy as np

from deploy.demo.places import FARM_NAMES

# What the group calls its scores, from 0.
LEVELS = ("clean", "a few specks", "lightly russeted", "russeted", "bronzed, curled")
# How much one thrips scars beside one rust mite, on each farm in turn: as much as
# eight, not at all, and twelve, where rust mites hardly scar. Invented; that both scar
# alike is common practice.
THRIPS_SCAR = dict(zip(FARM_NAMES, (8.0, 0.0, 12.0), strict=True))
RUST_MITES_SCAR = dict(zip(FARM_NAMES, (1.0, 1.0, 0.02), strict=True))
STEEPNESS, START, EYES = 1.25, -0.8, 0.8


def score_of(farm: str, on_tissue: Mapping[str, int], rng: np.random.Generator) -> int:
    """Score a leaf 0 to 4 by the animals that scar it, as eyes would: roughly."""
    feeding = (
        RUST_MITES_SCAR[farm] * on_tissue["rust_mites"]
        + THRIPS_SCAR[farm] * on_tissue["thrips"]
    )
    felt = STEEPNESS * np.log10(1 + feeding) + START + rng.normal(0.0, EYES)
    return int(np.clip(round(felt), 0, len(LEVELS) - 1))
