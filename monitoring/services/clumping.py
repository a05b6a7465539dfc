"""Hold what a farm group's earlier rounds tell of clumping, from a date on."""

from datetime import date

from django.db import transaction

from blocks.access import Member
from monitoring.densities.history import PastRound, PooledHistory, pooled_k_history
from monitoring.estimation import EstimationError, LearnedClumping, learn_clumping
from monitoring.models import ClumpingPrior, Organism, Tissue
from monitoring.services.changes import note_changed_rounds, rounds_with_tissue
from monitoring.services.settings import NotAllowedValueError


@transaction.atomic
def learn_from_rounds(
    member: Member, *, organism: Organism, tissue: Tissue, valid_from: date
) -> ClumpingPrior:
    """Learn from the rounds before a date, and hold it for rounds from that date on.

    Densities follow. Raises NotAllowedValueError where too little is there to learn.
    """
    history = pooled_k_history(
        member.group_id,
        tissue=tissue,
        organism_id=organism.pk,
        before=valid_from,
    )
    rounds = rounds_to_learn_from(history)
    try:
        learned = learn(rounds)
    except EstimationError as error:
        raise NotAllowedValueError(
            f"Before {valid_from:%-d %B %Y} there is too little to learn from:"
            f" {error.argument} {error.sentence}."
        ) from error
    row = ClumpingPrior.objects.create(
        farm_group=member.farm_group,
        organism=organism,
        tissue=tissue,
        units=rounds[0].units,
        valid_from=valid_from,
        created_by=member.user,
        basis=[_told(one) for one in rounds],
        **_figures(learned),
    )
    _densities_follow(member, tissue, valid_from)
    return row


@transaction.atomic
def hold_nothing(
    member: Member, *, organism: Organism, tissue: Tissue, valid_from: date
) -> ClumpingPrior:
    """Hold nothing of clumping beforehand for rounds from a date on."""
    row = ClumpingPrior.objects.create(
        farm_group=member.farm_group,
        organism=organism,
        tissue=tissue,
        valid_from=valid_from,
        created_by=member.user,
    )
    _densities_follow(member, tissue, valid_from)
    return row


def rounds_to_learn_from(history: PooledHistory) -> list[PastRound]:
    """Give the rounds of the most common number of units in a bag: k is a bag's."""
    by_units: dict[int, list[PastRound]] = {}
    for one in history.rounds:
        by_units.setdefault(one.units, []).append(one)
    return max(by_units.values(), key=len, default=[])


def learn(rounds: list[PastRound]) -> LearnedClumping:
    """Learn priors from rounds; EstimationError where they are too few or too empty."""
    return learn_clumping(
        [[bag.animals for bag in one.bags] for one in rounds],
        exposures=[one.exposures for one in rounds],
    )


def _figures(learned: LearnedClumping) -> dict[str, float | int]:
    return {
        "k_median": learned.k.median,
        "k_sd_log": learned.k.sd_log,
        "sigma_median": learned.sigma.median,
        "sigma_sd_log": learned.sigma.sd_log,
        "lognormal_odds": learned.lognormal_odds,
        "rounds": learned.rounds,
        "bags": learned.bags,
    }


def _told(one: PastRound) -> dict[str, str | int]:
    return {
        "round": str(one.round_uuid),
        "block": one.block_name,
        "collected_on": one.collected_on.isoformat(),
        "bags": len(one.bags),
        "animals": sum(bag.animals for bag in one.bags),
    }


def _densities_follow(member: Member, tissue: Tissue, since: date) -> None:
    note_changed_rounds(
        member.group_id, rounds_with_tissue(member.group_id, tissue=tissue, since=since)
    )
