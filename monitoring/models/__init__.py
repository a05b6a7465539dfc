"""What was seen, and what it means."""

from monitoring.models.densities import Density, DensityChange, Ratio, RoundChange
from monitoring.models.laboratory import (
    CanopyWeight,
    Dish,
    Organism,
    Recovery,
    SymptomScale,
    Tissue,
)
from monitoring.models.samples import Bag, Round, Wash
from monitoring.models.sheets import Sheet, SheetFinding, SheetRow
from monitoring.models.tallies import CellCount, Tally
from monitoring.models.treatments import TreatedBlock, Treatment

__all__ = [
    "Bag",
    "CanopyWeight",
    "CellCount",
    "Density",
    "DensityChange",
    "Dish",
    "Organism",
    "Ratio",
    "Recovery",
    "Round",
    "RoundChange",
    "Sheet",
    "SheetFinding",
    "SheetRow",
    "SymptomScale",
    "Tally",
    "Tissue",
    "TreatedBlock",
    "Treatment",
    "Wash",
]
