"""Set thresholds, change them as new versions, and remove them."""

from dataclasses import asdict, dataclass
from datetime import datetime
from math import isfinite

from django.core.exceptions import PermissionDenied
from django.db import transaction

from alerts.judging import subject_of
from alerts.models import DEADBAND, Subscription, Threshold, ThresholdVersion
from alerts.queries import may_change, may_rule
from alerts.services.lifecycle import judge_blocks
from blocks.access import Member
from blocks.errors import ConflictError, SiteError
from blocks.models import Block, Farm
from monitoring.models import Organism

Role = Organism.Role


class NotAThresholdError(SiteError):
    """Values that no alert could be judged by."""

    code = "not-a-threshold"
    status = 422

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        # The field of the form that the sentence belongs beside, if to one.
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """What a threshold version says; a clear level of None takes the usual one."""

    level: float
    clear_level: float | None = None
    certainty: float = 0.80
    clear_certainty: float = 0.50
    raise_rounds: int = 1
    clear_rounds: int = 2
    minimum_bags: int = 5
    season_from: str = "01-01"
    season_until: str = "12-31"


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """Where and what a threshold watches; a farm or a block, or neither."""

    tissue: str
    organism: Organism
    prey: Organism | None = None
    farm: Farm | None = None
    block: Block | None = None

    @property
    def scope(self) -> Threshold.Scope:
        """How far it reaches."""
        if self.block is not None:
            return Threshold.Scope.BLOCK
        return Threshold.Scope.GROUP if self.farm is None else Threshold.Scope.FARM


def usual_clear_level(level: float, *, is_ratio: bool) -> float:
    """Give the clear level that leaves the usual gap to the threshold."""
    return level / DEADBAND if is_ratio else level * DEADBAND


def checked(values: Values, *, is_ratio: bool) -> dict[str, object]:
    """Refuse values that contradict each other, and fill in the clear level."""
    clear = values.clear_level
    if clear is None:
        clear = usual_clear_level(values.level, is_ratio=is_ratio)
    if not isfinite(values.level) or values.level < 0:
        raise NotAThresholdError(
            "The threshold must be a number, 0 or more.", field="level"
        )
    if is_ratio and not values.level > 0:
        raise NotAThresholdError(
            "A ratio's threshold must be above 0, or it would never raise.",
            field="level",
        )
    if not isfinite(clear) or clear < 0:
        raise NotAThresholdError(
            "The clear level must be a number above 0.", field="clear_level"
        )
    if is_ratio and clear <= values.level:
        raise NotAThresholdError(
            "The clear level must stand for more predators than the threshold: fewer"
            " prey to one predator.",
            field="clear_level",
        )
    # A threshold of 0 has nothing below it; its usual clear level is 0 as well.
    if not is_ratio and clear >= values.level and (clear, values.level) != (0, 0):
        raise NotAThresholdError(
            "The clear level must be below the threshold, or the alert would come and"
            " go with every round.",
            field="clear_level",
        )
    return asdict(values) | {"clear_level": clear}


def _check_watched(watched: Watched) -> None:
    """Refuse a ratio that no figure is ever computed for."""
    if watched.prey is None:
        return
    if watched.prey == watched.organism:
        raise NotAThresholdError(
            "Predator and prey must be two organisms.", field="prey"
        )
    wanted = ((watched.organism, Role.PREDATOR, "organism"), (watched.prey, Role.PEST,
              "prey"))  # fmt: skip
    for organism, role, field in wanted:
        if organism.role != role:
            raise NotAThresholdError(
                f"The laboratory keeps {organism.name} as {organism.get_role_display()}"
                f", not as {role.label}; ratios are of predators to pests.",
                field=field,
            )


def _refuse_unless(allowed: bool) -> None:  # noqa: FBT001 - a question's answer
    if not allowed:
        raise PermissionDenied("Growers set thresholds of their own farms and blocks.")


@transaction.atomic
def set_threshold(
    member: Member, watched: Watched, values: Values, *, reason: str, now: datetime
) -> ThresholdVersion:
    """Set a threshold that is not there yet; blocks are judged by it at once."""
    farm_id = (
        watched.block.farm_id
        if watched.block
        else (watched.farm.pk if watched.farm else None)
    )
    _refuse_unless(may_rule(member, farm_id=farm_id))
    _check_watched(watched)
    settled = checked(values, is_ratio=watched.prey is not None)
    # Two people setting the same one at once: the unique constraint lets the first one
    # in, and the second finds its threshold there.
    threshold, _ = Threshold.objects.get_or_create(
        farm_group=member.farm_group,
        farm=watched.farm,
        block=watched.block,
        tissue=watched.tissue,
        organism=watched.organism,
        prey=watched.prey,
        defaults={"scope": watched.scope},
    )
    _lock(threshold)
    newest = newest_version(threshold)
    if newest is not None and not newest.removed:
        raise ConflictError("There is already a threshold for this. Change that one.")
    return _write(member, threshold, settled, reason=reason, now=now)


def newest_version(threshold: Threshold) -> ThresholdVersion | None:
    """Give a threshold's newest version; 1 query."""
    version: ThresholdVersion | None = (
        ThresholdVersion.objects.for_group(threshold.farm_group_id)
        .filter(threshold=threshold)
        .order_by("-number")
        .first()
    )
    return version


def _write(
    member: Member,
    threshold: Threshold,
    settled: dict[str, object],
    *,
    reason: str,
    now: datetime,
    removed: bool = False,
) -> ThresholdVersion:
    newest = newest_version(threshold)
    version = ThresholdVersion.objects.create(
        farm_group=member.farm_group,
        threshold=threshold,
        number=newest.number + 1 if newest else 1,
        removed=removed,
        reason=reason.strip()[:300],
        created_by=member.user,
        created_at=now,
        **settled,
    )
    words = "removed" if removed else "set" if newest is None else "changed"
    because = f": {version.reason}" if version.reason else ""
    judge_blocks(
        member.group_id,
        _blocks_in_reach(threshold),
        now=now,
        reason=f"The threshold was {words} by {member.user}{because}"[:300],
        only=subject_of(threshold),
    )
    return version


def _blocks_in_reach(threshold: Threshold) -> list[int]:
    blocks = Block.objects.for_group(threshold.farm_group_id)
    if threshold.block_id is not None:
        blocks = blocks.filter(pk=threshold.block_id)
    elif threshold.farm_id is not None:
        blocks = blocks.filter(farm_id=threshold.farm_id)
    return list(blocks.values_list("pk", flat=True))


@transaction.atomic
def change_threshold(
    member: Member,
    threshold: Threshold,
    values: Values,
    *,
    seen_number: int,
    reason: str,
    now: datetime,
) -> ThresholdVersion:
    """Let a threshold say something else from now on, as a new version.

    seen_number: the version that the person looked at; if another came in between,
    nothing is changed.
    """
    _refuse_unless(may_change(member, threshold))
    _lock(threshold)
    newest = newest_version(threshold)
    if newest is None or newest.number != seen_number:
        raise ConflictError(
            "Somebody changed this threshold while you looked at it. Look at it again;"
            " your values were not saved."
        )
    if newest.removed:
        raise ConflictError(
            "This threshold was removed. Set a new one; your values were not saved."
        )
    settled = checked(values, is_ratio=threshold.is_ratio)
    return _write(member, threshold, settled, reason=reason, now=now)


def _lock(threshold: Threshold) -> None:
    Threshold.objects.for_group(threshold.farm_group_id).select_for_update(
        of=("self",)
    ).get(pk=threshold.pk)


@transaction.atomic
def remove_threshold(
    member: Member, threshold: Threshold, *, reason: str, now: datetime
) -> None:
    """Let a threshold hold no more; alerts that only it kept standing end."""
    _refuse_unless(may_change(member, threshold))
    _lock(threshold)
    newest = newest_version(threshold)
    if newest is None or newest.removed:
        return
    kept = {
        name: getattr(newest, name)
        for name in (
            "level", "clear_level", "certainty", "clear_certainty", "raise_rounds",
            "clear_rounds", "minimum_bags", "season_from", "season_until",
        )
    }  # fmt: skip
    _write(member, threshold, kept, reason=reason, now=now, removed=True)


def subscribe(member: Member, *, by_email: bool) -> None:
    """Take or end a member's own subscription to alerts."""
    Subscription.objects.update_or_create(
        farm_group=member.farm_group,
        membership=member.membership,
        defaults={"by_email": by_email},
    )
