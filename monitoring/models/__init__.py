"""What was seen, and what it means."""

from monitoring.models.agreement import AgreementStandard, BlankCount, BlankWash
from monitoring.models.bag_steps import BagSetting, BagStep
from monitoring.models.bench import (
    BagPhoto,
    BenchAct,
    BenchDevice,
    BenchEvent,
    BenchReading,
)
from monitoring.models.calibrations import CalibrationRun
from monitoring.models.clumping import ClumpingPrior
from monitoring.models.densities import Density, DensityChange, Ratio, RoundChange
from monitoring.models.laboratory import (
    CanopyWeight,
    Dish,
    Organism,
    RatioSetting,
    Recovery,
    SymptomScale,
    Tissue,
)
from monitoring.models.plans import (
    CalendarFeed,
    RoundPlan,
    RoundSetting,
    SamplePoint,
)
from monitoring.models.samples import Bag, Round, Wash
from monitoring.models.sheets import Sheet, SheetFinding, SheetRow
from monitoring.models.symptoms import SymptomScore
from monitoring.models.tallies import CellCount, Tally
from monitoring.models.training import (
    ReferenceContent,
    ReferenceCount,
    ReferenceDish,
    ReferenceReading,
    SeniorCounter,
)
from monitoring.models.treatments import TreatedBlock, Treatment
from monitoring.models.washing import WashBatch, WashProtocol
from monitoring.models.weather import (
    DegreeDayRule,
    GrowthStageChange,
    WeatherDay,
    WeatherStation,
    WeatherUpload,
)

__all__ = [
    "AgreementStandard",
    "Bag",
    "BagPhoto",
    "BagSetting",
    "BagStep",
    "BenchAct",
    "BenchDevice",
    "BenchEvent",
    "BenchReading",
    "BlankCount",
    "BlankWash",
    "CalendarFeed",
    "CalibrationRun",
    "CanopyWeight",
    "CellCount",
    "ClumpingPrior",
    "DegreeDayRule",
    "Density",
    "DensityChange",
    "Dish",
    "GrowthStageChange",
    "Organism",
    "Ratio",
    "RatioSetting",
    "Recovery",
    "ReferenceContent",
    "ReferenceCount",
    "ReferenceDish",
    "ReferenceReading",
    "Round",
    "RoundChange",
    "RoundPlan",
    "RoundSetting",
    "SamplePoint",
    "SeniorCounter",
    "Sheet",
    "SheetFinding",
    "SheetRow",
    "SymptomScale",
    "SymptomScore",
    "Tally",
    "Tissue",
    "TreatedBlock",
    "Treatment",
    "Wash",
    "WashBatch",
    "WashProtocol",
    "WeatherDay",
    "WeatherStation",
    "WeatherUpload",
]
