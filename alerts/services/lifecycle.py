"""Bring standing alerts in step with figures and thresholds.

The state is judged from the season's rounds each time, then compared with what stands:
doing it twice changes nothing, and workers that race wait for each other block by
block.
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
BLOCK_LOCK = 727_002


@dataclass(frozen=True, slots=True)
class Moment:
    """When and why blocks are judged."""

    now: datetime
    today: date
    reason: str = ""


def judge_blocks(
    farm_group_id: int, block_ids: Iterable[int], *, now: datetime, reason: str = ""
) -> list[Transition]:
    """Judge blocks and write what changes; inside the caller's transaction.

    reason: kept in the history where a changed threshold is why they are judged.
    """
    keys = sorted(set(block_ids))
    _wait_for_others(keys)
    group = FarmGroup.objects.get(pk=farm_group_id)
    moment = Moment(now, timezone.localtime(now, group.zone).date(), reason)
    versions = current_versions(farm_group_id)
    figures = figures_of_blocks(farm_group_id, keys, today=moment.today)
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
        for subject in sorted({*nearest, *mine}, key=_order):
            judge = _Judge(block, subject, moment, figures.get((block.pk, subject), []))
            step = judge.step(
                nearest.get(subject), open_alerts.get((block.pk, subject)), versions
            )
            if step is not None:
                written.append(step)
    return written


def _order(subject: Subject) -> tuple[str, int, int]:
    return subject.tissue, subject.organism_id, subject.prey_id or 0


def _wait_for_others(block_ids: Sequence[int]) -> None:
    """Lock blocks in the order of their keys, so that two workers never cross."""
    with connection.cursor() as cursor:
        for key in block_ids:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [BLOCK_LOCK, key])


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
        sentence = ended_sentence(self.block, row, version, kind)
        return self._write(alert, kind, version, decision, sentence)

    def _end_without_threshold(
        self, alert: Alert | None, versions: Sequence[ThresholdVersion]
    ) -> Transition | None:
        if alert is None:
            return None
        last: Transition = (
            Transition.objects.for_group(self.block.farm_group_id)
            .filter(alert=alert)
            .select_related("version__threshold__organism", "version__threshold__prey")
            .latest("at", "pk")
        )
        newest = {one.threshold_id: one for one in versions}
        version = newest.get(last.version.threshold_id, last.version)
        return self._end(alert, version, Kind.REMOVED, Decision("clear", None))

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
        oldest_news = self.moment.today - NEWS_FOR
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
            quiet=decided is not None and decided.day < oldest_news,
            at=self.moment.now,
        )
        if not transition.quiet and kind != Kind.KEPT:
            write_messages(transition, self.block)
        return transition
