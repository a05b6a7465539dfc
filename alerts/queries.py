"""Read thresholds, alerts and messages."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F, Max, Prefetch, QuerySet
from django.http import Http404
from django.utils import timezone

from alerts.judging import current_versions, nearest_versions
from alerts.models import (
    Alert,
    Message,
    Subscription,
    Threshold,
    ThresholdVersion,
    Transition,
)
from alerts.rules import in_season
from alerts.words import level_words, subject_words
from blocks.access import Member, visible_blocks
from blocks.models import Block
from monitoring.models import Density
from monitoring.thresholds import StandingAlert, ThresholdInForce
from monitoring.words import bags


def thresholds_in_force(
    farm_group_id: int, block_ids: list[int]
) -> list[ThresholdInForce]:
    """List the thresholds that hold for blocks, the nearest scope each; 2 queries."""
    versions = current_versions(farm_group_id)
    if not versions:
        return []
    blocks = (
        Block.objects.for_group(farm_group_id)
        .filter(pk__in=block_ids)
        .annotate(zone=F("farm_group__time_zone"))
    )
    return [
        _in_force(block, version, timezone.localdate(timezone=ZoneInfo(block.zone)))
        for block in blocks
        for version in nearest_versions(block, versions).values()
    ]


def _in_force(block: Block, version: ThresholdVersion, today: date) -> ThresholdInForce:
    threshold = version.threshold
    return ThresholdInForce(
        block_id=block.pk,
        tissue=threshold.tissue,
        organism_id=threshold.organism_id,
        prey_id=threshold.prey_id,
        level=version.level,
        clear_level=version.clear_level,
        certainty=version.certainty,
        minimum_bags=version.minimum_bags,
        scope=threshold.scope,
        in_season=in_season(
            today, season_from=version.season_from, season_until=version.season_until
        ),
    )


def standing_alerts(farm_group_id: int, block_ids: list[int]) -> list[StandingAlert]:
    """List the alerts that stand on blocks, newest first; 2 queries."""
    alerts = _with_history(
        Alert.objects.for_group(farm_group_id).filter(
            ended_at=None, block__in=block_ids
        )
    )
    return [
        StandingAlert(
            uuid=alert.uuid,
            block_id=alert.block_id,
            tissue=alert.tissue,
            organism_id=alert.organism_id,
            prey_id=alert.prey_id,
            raised_at=alert.raised_at,
            sentence=alert.history[-1].sentence,
        )
        for alert in alerts
        if alert.history
    ]


def _with_history(alerts: QuerySet[Alert]) -> QuerySet[Alert]:
    steps = Transition.objects.select_related(
        "version__threshold__organism", "version__threshold__prey", "round"
    )
    return (
        alerts.select_related("block__farm", "organism", "prey")
        .prefetch_related(Prefetch("transitions", queryset=steps))
        .order_by("-raised_at", "-pk")
    )


def alerts_of(member: Member) -> QuerySet[Alert]:
    """List alerts on blocks that the member may see, newest first; 2 queries."""
    return _with_history(
        Alert.objects.for_group(member.group_id).filter(
            block__in=visible_blocks(member)
        )
    )


@dataclass(frozen=True, slots=True)
class WantedAlerts:
    """Which alerts are asked for; None asks for all."""

    stands: bool | None = None
    block_uuid: UUID | None = None


def wanted_alerts(member: Member, wanted: WantedAlerts) -> QuerySet[Alert]:
    """List the alerts asked for, of those the member may see; 2 queries."""
    found = alerts_of(member)
    if wanted.stands is not None:
        found = found.filter(ended_at__isnull=wanted.stands)
    if wanted.block_uuid is not None:
        found = found.filter(block__uuid=wanted.block_uuid)
    return found


def alert_for(member: Member, alert_uuid: UUID) -> Alert:
    """Give an alert on a block that the member may see, or Http404; 2 queries."""
    alert = alerts_of(member).filter(uuid=alert_uuid).first()
    if alert is None:
        raise Http404("No such alert.")
    return alert


@dataclass(frozen=True, slots=True)
class ThresholdLine:
    """One threshold in the list, in words."""

    version: ThresholdVersion
    where: str
    what: str
    level: str
    clear_level: str
    may_change: bool


def threshold_lines(member: Member) -> list[ThresholdLine]:
    """List the thresholds that reach a farm the member sees; 1 query."""
    return [
        _line(member, version)
        for version in current_versions(member.group_id)
        if not version.removed and _sees(member, version.threshold)
    ]


def _farm_id(threshold: Threshold) -> int | None:
    return threshold.block.farm_id if threshold.block else threshold.farm_id


def _sees(member: Member, threshold: Threshold) -> bool:
    farm_id = _farm_id(threshold)
    return farm_id is None or member.farm_ids is None or farm_id in member.farm_ids


def may_rule(member: Member, *, farm_id: int | None) -> bool:
    """Tell whether a member sets thresholds there; a farm_id of None is all farms.

    Coordinators set all thresholds, growers those of their own farms.
    """
    if member.is_coordinator:
        return True
    return member.may_rule and farm_id in (member.farm_ids or frozenset())


def may_change(member: Member, threshold: Threshold) -> bool:
    """Tell whether the member may change a threshold."""
    return may_rule(member, farm_id=_farm_id(threshold))


def cautions(version: ThresholdVersion) -> list[str]:
    """Say what an allowed version is hardly meant to do, if anything; 1 query."""
    found = []
    if version.level == 0:
        found.append("Any figure is above a threshold of 0, so this always raises.")
    most = (
        Density.objects.for_group(version.farm_group_id)
        .filter(is_current=True, stratum="", tissue=version.threshold.tissue)
        .aggregate(most=Max("bags_used"))["most"]
    )
    if most is not None and version.minimum_bags > most:
        found.append(
            f"No round so far has more than {bags(most)} counted, and this asks for"
            f" {version.minimum_bags}: unless rounds grow, it can never raise."
        )
    return found


def _line(member: Member, version: ThresholdVersion) -> ThresholdLine:
    threshold = version.threshold
    where = "all farms"
    if threshold.block:
        where = f"{threshold.block.farm.name}, {threshold.block.name}"
    elif threshold.farm:
        where = threshold.farm.name
    return ThresholdLine(
        version=version,
        where=where,
        what=subject_words(threshold.organism, threshold.prey, threshold.tissue),
        level=level_words(version, version.level),
        clear_level=level_words(version, version.clear_level),
        may_change=may_change(member, threshold),
    )


def threshold_for(member: Member, threshold_uuid: UUID) -> Threshold:
    """Give a threshold that reaches a farm the member sees, or Http404; 1 query."""
    threshold: Threshold | None = (
        Threshold.objects.for_group(member.group_id)
        .filter(uuid=threshold_uuid)
        .select_related("farm", "block__farm", "organism", "prey")
        .first()
    )
    if threshold is None or not _sees(member, threshold):
        raise Http404("No such threshold.")
    return threshold


def versions_of(threshold: Threshold) -> list[ThresholdVersion]:
    """List a threshold's versions, newest first; 1 query."""
    return list(
        ThresholdVersion.objects.for_group(threshold.farm_group_id)
        .filter(threshold=threshold)
        .select_related("created_by", "threshold")
        .order_by("-number")
    )


def is_subscribed(member: Member) -> bool:
    """Tell whether the member gets alerts by e-mail; 1 query."""
    return (
        Subscription.objects.for_group(member.group_id)
        .filter(membership=member.membership, by_email=True)
        .exists()
    )


def messages_of_group(farm_group_id: int) -> QuerySet[Message]:
    """List the group's messages, newest first; 1 query."""
    messages: QuerySet[Message] = (
        Message.objects.for_group(farm_group_id)
        .select_related("recipient__user", "transition")
        .order_by("-created_at", "-pk")
    )
    return messages


def messages_to_show(member: Member) -> QuerySet[Message]:
    """List the messages that a member may read.

    Their own; the coordinator and the laboratory, who see to it that results go out,
    all.
    """
    messages = messages_of_group(member.group_id)
    if member.may_count:
        return messages
    return messages.filter(recipient=member.membership)
