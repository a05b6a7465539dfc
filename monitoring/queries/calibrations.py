"""Read calibration runs, repeat washes out of sheets, and the recovery in force."""

from datetime import date
from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from blocks.models import FarmGroup
from monitoring.models import (
    Bag,
    CalibrationRun,
    Density,
    Organism,
    Recovery,
    Tally,
    Wash,
)


def calibration_runs(farm_group: FarmGroup) -> QuerySet[CalibrationRun]:
    """List all runs entered, newest first; 1 query."""
    return (
        CalibrationRun.objects.for_group(farm_group.pk)
        .select_related("organism", "created_by", "ended_by")
        .order_by("-ran_on", "-pk")
    )


def runs_of(
    farm_group: FarmGroup, *, organism: Organism, tissue: str
) -> list[CalibrationRun]:
    """List the runs entered of an organism and tissue, oldest first; 1 query."""
    return list(
        calibration_runs(farm_group)
        .filter(organism=organism, tissue=tissue)
        .order_by("ran_on", "pk")
    )


def calibration_run_for(farm_group: FarmGroup, run_uuid: UUID) -> CalibrationRun:
    """Give one of the group's runs, or Http404; 1 query."""
    found: CalibrationRun = get_object_or_404(
        calibration_runs(farm_group).select_related("supersedes"), uuid=run_uuid
    )
    return found


def successor_of(run: CalibrationRun) -> CalibrationRun | None:
    """Give the run that superseded another; 1 query."""
    found: CalibrationRun | None = (
        CalibrationRun.objects.for_group(run.farm_group_id)
        .filter(supersedes=run)
        .first()
    )
    return found


def methods_known(farm_group: FarmGroup) -> list[str]:
    """List the wordings of methods in use, most recent first; 1 query."""
    rows = calibration_runs(farm_group).values_list("method", flat=True)
    return list(dict.fromkeys(rows))


def tallies_of_repeat_washes(
    farm_group: FarmGroup, *, organism: Organism | None = None, tissue: str = ""
) -> list[Tally]:
    """List the standing tallies of bags that were washed again; 1 query.

    All washes of such a bag are there, the first one too.
    """
    group_id = farm_group.pk
    again = Wash.objects.for_group(group_id).filter(number__gte=2).values("bag_id")
    bags = Bag.objects.for_group(group_id).filter(pk__in=again)
    if tissue:
        bags = bags.filter(tissue=tissue)
    rows = Tally.objects.for_group(group_id).filter(
        wash__bag__in=bags, state=Tally.State.PUBLISHED, chosen=True
    )
    if organism is not None:
        rows = rows.filter(organism=organism)
    return list(
        rows.select_related("wash__bag__round__block", "organism").order_by(
            "wash__bag__round__collected_on",
            "wash__bag_id",
            "wash__number",
            "dish_number",
        )
    )


def recovery_in_force(
    farm_group: FarmGroup, *, organism: Organism, tissue: str, on: date
) -> Recovery | None:
    """Give the recovery in force for an organism and tissue on a date; 1 query."""
    found: Recovery | None = (
        Recovery.objects.for_group(farm_group.pk)
        .filter(organism=organism, tissue=tissue, valid_from__lte=on)
        .order_by("-valid_from", "-pk")
        .first()
    )
    return found


def recovery_of_density(density: Density) -> Recovery | None:
    """Give the recovery that a density was made with, if one was; at most 1 query."""
    key = density.used.get("recovery", {}).get("recovery_id")
    if key is None:
        return None
    found: Recovery | None = (
        Recovery.objects.for_group(density.farm_group_id).filter(pk=key).first()
    )
    return found
