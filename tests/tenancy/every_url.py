"""Every address of a farm group, with what it needs and who may open it.

An address that is missing here fails the tests beside this file.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.tenancy.full_world import FullWorld

EVERYONE = frozenset({"coordinator", "lab", "consultant", "grower"})
COUNTERS = frozenset({"coordinator", "lab"})
RULERS = frozenset({"coordinator", "grower"})
TREATERS = frozenset({"coordinator", "grower", "consultant"})
PLANNERS = frozenset({"coordinator", "grower", "consultant"})
COORDINATOR = frozenset({"coordinator"})
Arguments = Callable[[FullWorld], dict[str, Any]]


def _nothing(_: FullWorld) -> dict[str, Any]:
    return {}


def _bag_template(_: FullWorld) -> dict[str, Any]:
    return {"layout": "bags", "kind": "csv"}


@dataclass(frozen=True)
class Address:
    """Who may open it, by which method it acts, and what its URL names."""

    roles: frozenset[str]
    arguments: Arguments = _nothing
    acts: bool = False
    # For scripts: someone not signed in gets 401 in words, not the sign-in page.
    for_scripts: bool = False


def _uuid(kind: str, name: str) -> Arguments:
    return lambda world: {f"{name}_uuid": getattr(world, kind).uuid}


def _row(world: FullWorld) -> dict[str, Any]:
    return {"sheet_uuid": world.sheet.uuid, "number": 2}


def _tile(world: FullWorld) -> dict[str, Any]:
    return {"on": "2026-08-20", "z": 0, "x": 0, "y": 0}


def _efficacy(world: FullWorld) -> dict[str, Any]:
    return {"treatment_uuid": world.treatment.uuid, "block_uuid": world.block.uuid}


def _act(world: FullWorld) -> dict[str, Any]:
    return {"event_uuid": world.act.uuid}


def _label(world: FullWorld) -> dict[str, Any]:
    return {"label": world.bag.label}


def _pool(world: FullWorld) -> dict[str, Any]:
    return {"organism_uuid": world.organism.uuid, "tissue": "leaf"}


def _person(world: FullWorld) -> dict[str, Any]:
    return {"person_uuid": world.world.people["lab"].uuid}


def _look(world: FullWorld) -> dict[str, Any]:
    cell = world.reference.cells[0]
    return {"reference_uuid": world.reference.uuid, "cell": cell, "part": 1}


SHEET = _uuid("sheet", "sheet")
REFERENCE = _uuid("reference", "reference")
RUN = _uuid("calibration_run", "run")
TREATMENT = _uuid("treatment", "treatment")
IMPORT = _uuid("boundary_import", "import")
FARM = _uuid("farm", "farm")
PLAN = _uuid("plan", "plan")
UPLOAD = _uuid("weather_upload", "upload")
ADDRESSES: dict[str, Address] = {
    "group": Address(EVERYONE),
    "group-map-data": Address(EVERYONE),
    "tile": Address(EVERYONE, _tile),
    "block": Address(EVERYONE, _uuid("block", "block")),
    "round": Address(EVERYONE, _uuid("round", "round")),
    "score-round": Address(COUNTERS, _uuid("round", "round")),
    "symptoms": Address(EVERYONE),
    "density": Address(EVERYONE, _uuid("density", "density")),
    "ratio": Address(EVERYONE, _uuid("ratio", "ratio")),
    "dispersion": Address(EVERYONE),
    "how-sure": Address(EVERYONE),
    "held-clumping": Address(COUNTERS),
    "learn-clumping": Address(COORDINATOR),
    "forecast": Address(EVERYONE, _uuid("block", "block")),
    "forecast-backtest": Address(EVERYONE),
    "effort": Address(EVERYONE, _uuid("block", "block")),
    "bags": Address(COUNTERS),
    "bench": Address(COUNTERS),
    "bench-worker": Address(COUNTERS),
    "bench-manifest": Address(COUNTERS),
    "bench-kit": Address(COUNTERS),
    "bench-act": Address(COUNTERS, _act, acts=True),
    "bench-photo": Address(EVERYONE, _uuid("photo", "photo")),
    "remove-photo": Address(COORDINATOR, _uuid("photo", "photo"), acts=True),
    "bench-todo": Address(COUNTERS),
    "bench-decide": Address(COUNTERS, _uuid("bench_reading", "reading")),
    "bench-figure": Address(COUNTERS, _uuid("bench_reading", "reading")),
    "scan": Address(EVERYONE),
    "bag-setting": Address(COORDINATOR),
    "bag": Address(EVERYONE, _uuid("bag", "bag")),
    "move-bag": Address(COUNTERS, _uuid("bag", "bag"), acts=True),
    "bag-by-label": Address(EVERYONE, _label),
    "plan-bags": Address(COUNTERS, _uuid("block", "block")),
    "make-bags": Address(COUNTERS, _uuid("round", "round")),
    "move-bags": Address(COUNTERS, _uuid("round", "round")),
    "labels": Address(COUNTERS, _uuid("round", "round")),
    "give-labels": Address(COUNTERS, _uuid("round", "round"), acts=True),
    "labels-pdf": Address(COUNTERS, _uuid("round", "round")),
    "rounds-due": Address(EVERYONE),
    "round-habits": Address(COORDINATOR),
    "round-calendar": Address(EVERYONE),
    "plan-round": Address(PLANNERS, _uuid("block", "block")),
    "plan": Address(EVERYONE, PLAN),
    "bags-of-plan": Address(COUNTERS, PLAN, acts=True),
    "plan-sheet": Address(EVERYONE, PLAN),
    "plan-gpx": Address(EVERYONE, PLAN),
    "plan-geojson": Address(EVERYONE, PLAN),
    "put-off-plan": Address(PLANNERS, PLAN, acts=True),
    "withdraw-plan": Address(PLANNERS, PLAN, acts=True),
    "people": Address(COORDINATOR),
    "end-membership": Address(
        COORDINATOR, _uuid("membership", "membership"), acts=True
    ),
    "import-blocks": Address(COORDINATOR),
    "boundary-import": Address(COORDINATOR, IMPORT),
    "answer-import": Address(COORDINATOR, IMPORT, acts=True),
    "publish-import": Address(COORDINATOR, IMPORT, acts=True),
    "discard-import": Address(COORDINATOR, IMPORT, acts=True),
    "edit-block": Address(COORDINATOR, _uuid("block", "block")),
    "laboratory": Address(COUNTERS),
    "add-organism": Address(COORDINATOR),
    "change-organism": Address(COORDINATOR, _uuid("organism", "organism")),
    "add-dish": Address(COORDINATOR),
    "dish": Address(COUNTERS, _uuid("dish", "dish")),
    "make-dish-usual": Address(COORDINATOR, _uuid("dish", "dish"), acts=True),
    "state-recovery": Address(COORDINATOR),
    "calibrations": Address(COUNTERS),
    "enter-calibration": Address(COUNTERS),
    "calibration": Address(COUNTERS, RUN),
    "correct-calibration": Address(COUNTERS, RUN),
    "withdraw-calibration": Address(COUNTERS, RUN, acts=True),
    "recovery-pool": Address(COUNTERS, _pool),
    "put-recovery-in-force": Address(COORDINATOR, _pool, acts=True),
    "next-cells": Address(COUNTERS, _uuid("dish", "dish")),
    "tally": Address(EVERYONE, _uuid("tally", "tally")),
    "canopy-weights": Address(COORDINATOR),
    "ratio-setting": Address(COORDINATOR),
    "symptom-scale": Address(COORDINATOR),
    "washing": Address(COUNTERS),
    "state-wash-protocol": Address(COORDINATOR),
    "reagents": Address(COUNTERS),
    "enter-wash": Address(COUNTERS, _uuid("round", "round")),
    "wash-batch": Address(COUNTERS, _uuid("wash_batch", "batch")),
    "correct-wash-batch": Address(COUNTERS, _uuid("wash_batch", "batch")),
    "withdraw-wash-batch": Address(COUNTERS, _uuid("wash_batch", "batch")),
    "counters": Address(COUNTERS),
    "agreement-standard": Address(COORDINATOR),
    "training": Address(COUNTERS),
    "training-record": Address(COORDINATOR, _person),
    "senior-counter": Address(COORDINATOR),
    "new-reference": Address(COUNTERS),
    "reference": Address(COUNTERS, REFERENCE),
    "withdraw-reference": Address(COUNTERS, REFERENCE, acts=True),
    "reference-look": Address(COUNTERS, _look),
    "reference-marks": Address(COUNTERS, _look),
    "blanks": Address(COUNTERS),
    "withdraw-blank": Address(COUNTERS, _uuid("blank", "blank")),
    "bench-events": Address(COUNTERS, acts=True, for_scripts=True),
    "sheets": Address(COUNTERS),
    "sheet-layouts": Address(COUNTERS),
    "sheet-template": Address(COUNTERS, _bag_template),
    "sheet": Address(COUNTERS, SHEET),
    "answer-sheet": Address(COUNTERS, SHEET, acts=True),
    "correct-row": Address(COUNTERS, _row, acts=True),
    "leave-out-faulty": Address(COUNTERS, SHEET, acts=True),
    "publish-sheet": Address(COUNTERS, SHEET, acts=True),
    "discard-sheet": Address(COUNTERS, SHEET, acts=True),
    "sheet-original": Address(COUNTERS, SHEET),
    "sheet-annotated": Address(COUNTERS, SHEET),
    "sheet-findings": Address(COUNTERS, SHEET),
    "block-season": Address(EVERYONE, _uuid("block", "block")),
    "set-growth-stage": Address(COUNTERS, _uuid("round", "round"), acts=True),
    "weather": Address(EVERYONE),
    "farm-weather": Address(EVERYONE, FARM),
    "weather-csv": Address(EVERYONE, FARM),
    "upload-weather": Address(COUNTERS | RULERS, FARM),
    "degree-day-rule": Address(RULERS, FARM),
    "make-station-usual": Address(RULERS, _uuid("station", "station"), acts=True),
    "weather-upload": Address(COUNTERS | RULERS, UPLOAD),
    "weather-original": Address(COUNTERS | RULERS, UPLOAD),
    "answer-weather": Address(COUNTERS | RULERS, UPLOAD, acts=True),
    "publish-weather": Address(COUNTERS | RULERS, UPLOAD, acts=True),
    "discard-weather": Address(COUNTERS | RULERS, UPLOAD, acts=True),
    "treatments": Address(EVERYONE),
    "record-treatment": Address(TREATERS),
    "treatment": Address(EVERYONE, TREATMENT),
    "correct-treatment": Address(TREATERS, TREATMENT),
    "withdraw-treatment": Address(TREATERS, TREATMENT, acts=True),
    "efficacy": Address(EVERYONE, _efficacy),
    "thresholds": Address(EVERYONE),
    "add-threshold": Address(RULERS),
    "threshold": Address(EVERYONE, _uuid("threshold", "threshold")),
    "remove-threshold": Address(RULERS, _uuid("threshold", "threshold"), acts=True),
    "alerts": Address(EVERYONE),
    "subscription": Address(EVERYONE, acts=True),
    "alert": Address(EVERYONE, _uuid("alert", "alert")),
    "messages": Address(COORDINATOR),
    "mail": Address(EVERYONE),
}
# Addresses outside any farm group; allauth's own are tested by allauth.
OUTSIDE = frozenset(
    {
        *("home", "healthz", "readyz", "calendar-feed"),
        *("certificate", "certificate-file"),
    }
)
