"""Bring standing alerts in step with figures and thresholds.

The state is judged from the season's rounds each time, then compared with what stands:
doing it twice changes nothing, and workers that race for a farm group wait for each
other.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import connection
from django.utils import timezone

from alerts.judging import (
    Figure,
    Subject,
    current_versions,
    figures_of_blocks,
    nearest_versions,
    round_chance,
    terms_of,
)
from alerts.models import Alert, ThresholdVersion, Transition
from alerts.rules import Decision, decide
from alerts.services.outbox import write_messages
from alerts.words import ended_sentence, raised_sentence
from blocks.models import Block, FarmGroup

Kind = Transition.Kind
# Rounds older than this when judged change states and send nothing.
NEWS_FOR = timedelta(days=21)


@dataclass(frozen=True, slots=True)
class Moment:
    """When and why blocks are judged."""

    now: datetime
    today: date
    reason: str = ""


def judge_blocks(
    farm_group_id: int,
    block_ids: Iterable[int],
    *,
    now: datetime,
    reason: str = "",
    only: Subject | None = None,
) -> list[Transition]:
    """Judge blocks and write what changes; inside the caller's transaction.

    reason: kept in the history where a changed threshold is why they are judged.
    only: what that threshold watches; everything is judged without it.
    """
    keys = sorted(set(block_ids))
    _wait_for_others(farm_group_id)
    group = FarmGroup.objects.get(pk=farm_group_id)
    moment = Moment(now, timezone.localtime(now, group.zone).date(), reason)
    versions = current_versions(farm_group_id)
    figures = figures_of_blocks(farm_group_id, keys, today=moment.today, only=only)
    open_alerts = {
        (alert.block_id, Subject(alert.tissue, alert.organism_id, alert.prey_id)): alert
        for alert in Alert.objects.for_group(farm_group_id).filter(
            block__in=keys, ended_at=None
        )
    }
    written = []
    blocks = Block.objects.for_group(farm_group_id).filter(pk__in=keys)
    for block in blocks.select_related("farm").order_by("pk"):
        nearest = nearest_versions(block, versions)
        mine = {key[1] for key in open_alerts if key[0] == block.pk}
        subjects = {*nearest, *mine} & ({only} if only else {*nearest, *mine})
        for subject in sorted(subjects, key=_order):
            judge = _Judge(block, subject, moment, figures.get((block.pk, subject), []))
            step = judge.step(
                nearest.get(subject), open_alerts.get((block.pk, subject)), versions
            )
            if step is not None:
                written.append(step)
    return written


def _order(subject: Subject) -> tuple[str, int, int]:
    return subject.tissue, subject.organism_id, subject.prey_id or 0


def _wait_for_others(farm_group_id: int) -> None:
    """Let one transaction at a time judge a farm group.

    One lock for the group and not one a block: no two can cross, and a large group
    does not fill the server's table of locks.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))",
            [f"alerts of farm group {farm_group_id}"],
        )


@dataclass(frozen=True, slots=True)
class _Judge:
    """One block and subject, judged at one moment."""

    block: Block
    subject: Subject
    moment: Moment
    figures: Sequence[Figure]

    def step(
        self,
        version: ThresholdVersion | None,
        alert: Alert | None,
        versions: Sequence[ThresholdVersion],
    ) -> Transition | None:
        """Compare what should stand with what stands, and write the difference."""
        if version is None:
            return self._end_without_threshold(alert, versions)
        chances = [round_chance(row, version) for row in self.figures]
        decision = decide(chances, terms_of(version), today=self.moment.today)
        if decision.outcome == "stands":
            if alert is None:
                return self._raise(version, decision)
            return self._keep(alert, version, decision)
        if alert is None:
            return None
        over = decision.outcome == "season_over"
        kind = Kind.SEASON_OVER if over else Kind.CLEARED
        return self._end(alert, version, kind, decision)

    def _figure(self, decision: Decision) -> Figure | None:
        if decision.decided_by is None:
            return None
        key = decision.decided_by.round_id
        return next((row for row in self.figures if row.round_id == key), None)

    def _raise(
        self, version: ThresholdVersion, decision: Decision
    ) -> Transition | None:
        row = self._figure(decision)
        if row is None or decision.decided_by is None:
            return None
        chance = decision.decided_by.chance or 0.0
        alert = Alert.objects.create(
            farm_group_id=self.block.farm_group_id,
            block=self.block,
            tissue=self.subject.tissue,
            organism_id=self.subject.organism_id,
            prey_id=self.subject.prey_id,
            raised_at=self.moment.now,
        )
        sentence = raised_sentence(self.block, row, version, chance)
        return self._write(alert, Kind.RAISED, version, decision, sentence)

    def _keep(
        self, alert: Alert, version: ThresholdVersion, decision: Decision
    ) -> Transition | None:
        """Note in the history that a changed threshold left the alert standing."""
        row = self._figure(decision)
        if not self.moment.reason or row is None or decision.decided_by is None:
            return None
        if self._last_step(alert).version_id == version.pk:
            return None
        sentence = raised_sentence(
            self.block, row, version, decision.decided_by.chance or 0.0
        )
        return self._write(alert, Kind.KEPT, version, decision, sentence)

    def _end(
        self,
        alert: Alert,
        version: ThresholdVersion,
        kind: Transition.Kind,
        decision: Decision,
    ) -> Transition:
        alert.ended_at = max(self.moment.now, alert.raised_at)
        alert.save(update_fields=["ended_at"])
        row = self._figure(decision)
        sentence = ended_sentence(self.block, row, version, kind, stood=decision.stood)
        return self._write(alert, kind, version, decision, sentence)

    def _end_without_threshold(
        self, alert: Alert | None, versions: Sequence[ThresholdVersion]
    ) -> Transition | None:
        if alert is None:
            return None
        last = self._last_step(alert)
        newest = {one.threshold_id: one for one in versions}
        version = newest.get(last.version.threshold_id, last.version)
        return self._end(alert, version, Kind.REMOVED, Decision("clear", None))

    def _last_step(self, alert: Alert) -> Transition:
        step: Transition = (
            Transition.objects.for_group(self.block.farm_group_id)
            .filter(alert=alert)
            .select_related("version__threshold__organism", "version__threshold__prey")
            .latest("at", "pk")
        )
        return step

    def _is_quiet(self, alert: Alert, decision: Decision) -> bool:
        """Tell whether an old round decided; nobody is told of those.

        Where a changed threshold ends an alert that people were told of, they are
        told of its end too, however old the rounds.
        """
        if decision.decided_by is None:
            return False
        if alert.ended_at is not None and self.moment.reason:
            raised = Transition.objects.for_group(alert.farm_group_id)
            return raised.filter(alert=alert, kind=Kind.RAISED, quiet=True).exists()
        return decision.decided_by.day < self.moment.today - NEWS_FOR

    def _write(  # noqa: PLR0917 - the columns of one history row
        self,
        alert: Alert,
        kind: Transition.Kind,
        version: ThresholdVersion,
        decision: Decision,
        sentence: str,
    ) -> Transition:
        row = self._figure(decision)
        decided = decision.decided_by
        transition = Transition.objects.create(
            farm_group_id=self.block.farm_group_id,
            alert=alert,
            kind=kind,
            version=version,
            round_id=decided.round_id if decided else None,
            chance=decided.chance if decided else None,
            median=row.median if row else None,
            low=row.low if row else None,
            high=row.high if row else None,
            bags=row.bags_used if row else 0,
            sentence=sentence,
            reason=self.moment.reason,
            quiet=self._is_quiet(alert, decision),
            at=self.moment.now,
        )
        if not transition.quiet and kind != Kind.KEPT:
            write_messages(transition, self.block)
        return transition
