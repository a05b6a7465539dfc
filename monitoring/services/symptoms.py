"""Score bags on the round's page; a correction supersedes what stood."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from django.db import transaction

from blocks.access import Member
from blocks.errors import ConflictError
from blocks.models import User
from monitoring.models import Bag, Round, SymptomScale, SymptomScore
from monitoring.queries.laboratory import scale_on
from monitoring.services.settings import NotAllowedValueError

State = SymptomScore.State


@dataclass(frozen=True, slots=True, kw_only=True)
class Scoring:
    """Scores by bag, with who judged and when, and why any differ from before.

    `seen` are the scores that stood when the page was opened, by bag; `scale` is the
    one that was offered.
    """

    scale: SymptomScale
    scores: Mapping[int, int]
    seen: Mapping[int, int]
    scorer_name: str
    scorer: User | None
    scored_on: date
    reason: str = ""


def scale_today(member: Member, today: date) -> SymptomScale:
    """Give the scale in force, or the first one where the group has none yet."""
    return scale_on(member.group_id, today) or SymptomScale(
        farm_group=member.farm_group, valid_from=today
    )


@transaction.atomic
def score_bags(member: Member, of_round: Round, scoring: Scoring) -> int:
    """Keep new scores and corrections; give how many scores changed."""
    bags = {
        bag.pk: bag
        for bag in Bag.objects.for_group(member.group_id)
        .filter(round=of_round, pk__in=scoring.scores)
        .select_for_update(no_key=True)
    }
    standing = {
        row.bag_id: row
        for row in SymptomScore.objects.for_group(member.group_id).filter(
            bag__in=bags, state=State.PUBLISHED
        )
    }
    _refuse_what_moved(bags, standing, scoring)
    new = {
        key: score
        for key, score in scoring.scores.items()
        if key in bags and (key not in standing or standing[key].score != score)
    }
    corrected = [standing[key] for key in new if key in standing]
    if corrected and not scoring.reason:
        raise NotAllowedValueError(
            "Scores that stand already were changed. Say why; the old ones are kept."
        )
    SymptomScore.objects.for_group(member.group_id).filter(
        pk__in=[row.pk for row in corrected]
    ).update(state=State.SUPERSEDED)
    scale = _kept(scoring.scale)
    SymptomScore.objects.bulk_create(
        _row(member, bags[key], standing.get(key), replace(scoring, scale=scale))
        for key in new
    )
    return len(new)


def _kept(scale: SymptomScale) -> SymptomScale:
    """Give the scale as it is kept; a group's first one is written now."""
    found, _ = SymptomScale.objects.get_or_create(
        farm_group=scale.farm_group,
        valid_from=scale.valid_from,
        defaults={"lowest": scale.lowest, "highest": scale.highest},
    )
    return found


def _refuse_what_moved(
    bags: Mapping[int, Bag], standing: Mapping[int, SymptomScore], scoring: Scoring
) -> None:
    moved = [
        bag.code
        for key, bag in bags.items()
        if scoring.seen.get(key) != (standing[key].score if key in standing else None)
        and scoring.scores[key] != (standing[key].score if key in standing else None)
    ]
    if moved:
        raise ConflictError(
            f"Somebody scored bag {', '.join(sorted(moved)[:5])} since this page was"
            " opened. Look at the scores below again, and save."
        )


def _row(
    member: Member, bag: Bag, old: SymptomScore | None, scoring: Scoring
) -> SymptomScore:
    return SymptomScore(
        farm_group_id=member.group_id,
        bag=bag,
        scale=scoring.scale,
        score=scoring.scores[bag.pk],
        supersedes=old,
        reason=scoring.reason if old else "",
        scored_on=scoring.scored_on,
        scorer=scoring.scorer,
        scorer_name=scoring.scorer_name,
        created_by=member.user,
    )


def told(changed: int) -> str:
    """Say what was kept."""
    if not changed:
        return "No score was changed."
    return "1 score kept." if changed == 1 else f"{changed} scores kept."
