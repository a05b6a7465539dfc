"""Keep densities in step with what they are made of."""

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence

from django.conf import settings as site_settings

from blocks.tenancy import stating
from blocks.wakeups import wake_after_commit
from monitoring.densities.compute import Planned, Row, figures_of_round
from monitoring.densities.inputs import settings_with_ratios
from monitoring.densities.samples import Sample, samples_of_rounds
from monitoring.models import (
    Density,
    DensityChange,
    Organism,
    Ratio,
    Round,
    RoundChange,
)

CHUNK = 100


def compute_changed(farm_group_id: int) -> int:
    """Compute all rounds of a group that changed; give how many were looked at.

    Each chunk claims its rows, computes, stores and lets go in one transaction, so a
    killed worker leaves nothing half done and a second one nothing done twice.
    """
    looked_at = 0
    while True:
        with stating(farm_group_id):
            claimed = list(
                RoundChange.objects.for_group(farm_group_id)
                .select_for_update(skip_locked=True)
                .order_by("pk")[:CHUNK]
            )
            if not claimed:
                return looked_at
            round_ids = sorted({change.round_id for change in claimed})
            changed = compute_rounds(farm_group_id, round_ids)
            RoundChange.objects.for_group(farm_group_id).filter(
                pk__in=[change.pk for change in claimed]
            ).delete()
            note_new_densities(farm_group_id, changed)
            looked_at += len(round_ids)


def note_new_densities(farm_group_id: int, round_ids: Sequence[int]) -> None:
    """Leave word for the alerts that rounds have new densities."""
    DensityChange.objects.bulk_create(
        DensityChange(farm_group_id=farm_group_id, round_id=pk) for pk in round_ids
    )
    if round_ids:
        wake_after_commit(site_settings.WAKE_ALERTS_TASK)


def compute_rounds(farm_group_id: int, round_ids: Sequence[int]) -> list[int]:
    """Compute rounds and store what changed; give the rounds with changes."""
    rounds = list(
        Round.objects.for_group(farm_group_id)
        .filter(pk__in=round_ids)
        .select_for_update(no_key=True)
        .order_by("pk")
    )
    settings = settings_with_ratios(farm_group_id)
    organisms = {
        organism.pk: organism for organism in Organism.objects.for_group(farm_group_id)
    }
    by_round: dict[int, list[Sample]] = defaultdict(list)
    for sample in samples_of_rounds(farm_group_id, [one.pk for one in rounds]):
        by_round[sample.round_id].append(sample)
    densities: list[Planned[Density]] = []
    ratios: list[Planned[Ratio]] = []
    for one in rounds:
        figures = figures_of_round(
            one.collected_on, by_round[one.pk], settings, organisms
        )
        densities += figures.densities
        ratios += figures.ratios
    changed = _store(Density, densities, rounds, _density_key)
    changed |= _store(Ratio, ratios, rounds, _ratio_key)
    return sorted(changed)


def _density_key(row: Density) -> Hashable:
    return row.round_id, row.tissue, row.organism_id, row.stratum


def _ratio_key(row: Ratio) -> Hashable:
    return row.round_id, row.tissue, row.predator_id, row.prey_id


def _store(
    model: type[Row],
    planned: list[Planned[Row]],
    rounds: list[Round],
    key_of: Callable[[Row], Hashable],
) -> set[int]:
    """Estimate what changed, and let it take the place of what stood."""
    if not rounds:
        return set()
    farm_group_id = rounds[0].farm_group_id
    mine = model.objects.for_group(farm_group_id)
    standing: list[Row] = list(
        mine.filter(round__in=rounds, is_current=True).defer("quantiles", "used")
    )
    current = {key_of(row): row for row in standing}
    kept = {key_of(one.row) for one in planned}
    changed = [
        one for one in planned if _differs(one.row, current.get(key_of(one.row)))
    ]
    for one in changed:
        one.fill()
        one.row.farm_group_id = farm_group_id
    new: list[Row] = [one.row for one in changed]
    renewed = {key_of(row) for row in new}
    over: list[Row] = [
        row for key, row in current.items() if key in renewed or key not in kept
    ]
    mine.filter(pk__in=[row.pk for row in over]).update(is_current=False)
    model.objects.bulk_create(new, batch_size=500)
    return {row.round_id for row in (*new, *over)}


def _differs(row: Row, current: Row | None) -> bool:
    return current is None or current.inputs_digest != row.inputs_digest
