"""Record treatments and correct them; what was recorded is never changed."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone

from blocks.access import Member, visible_blocks
from blocks.errors import ConflictError, SiteError
from blocks.models import Block
from monitoring.models import TreatedBlock, Treatment
from monitoring.queries.treatments import in_force, part_keys

Part = TreatedBlock.Part


class NotATreatmentError(SiteError):
    """Values that no treatment can have; `field` is where the sentence belongs."""

    code = "not-a-treatment"
    status = 422

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What was done, on which blocks, and which were left as a check."""

    treated_on: date
    category: Treatment.Category
    active_ingredient: str
    treated: Collection[Block]
    checks: Collection[Block] = ()
    rate: float | None = None
    rate_unit: str = ""
    operator: str = ""
    note: str = ""

    def parts(self) -> set[tuple[int, str]]:
        """Give each block's key with its part."""
        treated = {(block.pk, str(Part.TREATED)) for block in self.treated}
        return treated | {(block.pk, str(Part.CHECK)) for block in self.checks}


@transaction.atomic
def record(member: Member, done: Done, *, now: datetime) -> Treatment:
    """Record a treatment of one or more blocks."""
    _check(member, done, now=now)
    _refuse_twice(member, done)
    return _write(member, done, now=now)


@transaction.atomic
def correct(
    member: Member, treatment: Treatment, done: Done, *, reason: str, now: datetime
) -> Treatment:
    """Supersede a treatment with what it should have said."""
    _check(member, done, now=now)
    _check_correctable(member, treatment)
    _refuse_twice(member, done, instead_of=treatment)
    return _supersede(member, treatment, done, now=now, reason=reason)


@transaction.atomic
def withdraw(
    member: Member, treatment: Treatment, *, reason: str, now: datetime
) -> Treatment:
    """Say that a recorded treatment never was; its record stays to be seen."""
    _check_correctable(member, treatment)
    parts: dict[str, list[Block]] = {Part.TREATED: [], Part.CHECK: []}
    for row in treatment.parts.select_related("block"):
        parts[row.part].append(row.block)
    done = Done(
        treated_on=treatment.treated_on,
        category=Treatment.Category(treatment.category),
        active_ingredient=treatment.active_ingredient,
        treated=parts[Part.TREATED],
        checks=parts[Part.CHECK],
        rate=treatment.rate,
        rate_unit=treatment.rate_unit,
        operator=treatment.operator,
        note=treatment.note,
    )
    return _supersede(member, treatment, done, now=now, reason=reason, withdrawn=True)


def _check(member: Member, done: Done, *, now: datetime) -> None:
    if not member.may_treat:
        raise PermissionDenied("Your role in this farm group does not allow this.")
    if not done.treated:
        raise NotATreatmentError("Name the blocks that were treated.", field="treated")
    both = {block.pk for block in done.treated} & {block.pk for block in done.checks}
    if both:
        names = ", ".join(sorted(b.name for b in done.checks if b.pk in both))
        raise NotATreatmentError(
            f"{names}: treated and left untreated at once. Take it out of one.",
            field="checks",
        )
    if done.treated_on > timezone.localdate(now, member.farm_group.zone):
        raise NotATreatmentError(
            f"{done.treated_on:%Y-%m-%d} is still to come. Record a treatment once it"
            " is done.",
            field="treated_on",
        )
    if (done.rate is None) == bool(done.rate_unit):
        raise NotATreatmentError(
            "A rate is a number with its unit: give both, or neither.", field="rate"
        )
    if done.rate_unit == Treatment.RateUnit.PERCENT and (done.rate or 0) > 100:
        raise NotATreatmentError(
            f"{done.rate:g} percent of a spray cannot be.", field="rate"
        )
    named = {block.pk for block in (*done.treated, *done.checks)}
    seen = set(visible_blocks(member).filter(pk__in=named).values_list("pk", flat=True))
    if seen != named:
        raise PermissionDenied("You may not record treatments of these blocks.")


def _check_correctable(member: Member, treatment: Treatment) -> None:
    """Refuse corrections of what was corrected before, or reaches hidden farms."""
    if not member.may_treat:
        raise PermissionDenied("Your role in this farm group does not allow this.")
    if treatment.withdrawn:
        raise ConflictError(
            "This treatment was withdrawn. If it was done after all, record it anew."
        )
    newer = Treatment.objects.for_group(member.group_id).filter(supersedes=treatment)
    if newer.exists():
        raise ConflictError(
            "Somebody corrected this treatment first. Open the newest record and look"
            " whether yours is still needed."
        )
    reached = {key for key, _ in part_keys(treatment)}
    if visible_blocks(member).filter(pk__in=reached).count() != len(reached):
        raise NotATreatmentError(
            "This treatment also reached blocks of farms that you do not see. Ask the"
            " coordinator to correct it."
        )


def _refuse_twice(
    member: Member, done: Done, *, instead_of: Treatment | None = None
) -> None:
    """Refuse what is recorded already, word for word."""
    same = in_force(member.group_id).filter(
        treated_on=done.treated_on,
        category=done.category,
        active_ingredient__iexact=done.active_ingredient.strip(),
        rate=done.rate,
        rate_unit=done.rate_unit,
        operator=done.operator.strip(),
        note=done.note.strip(),
    )
    for one in same.prefetch_related("parts"):
        if {(row.block_id, row.part) for row in one.parts.all()} == done.parts():
            sentence = (
                "Nothing is different from what is recorded."
                if instead_of is not None and one.pk == instead_of.pk
                else "This treatment is recorded already; it is in the list."
            )
            raise ConflictError(sentence)


def _supersede(
    member: Member,
    treatment: Treatment,
    done: Done,
    *,
    now: datetime,
    reason: str,
    withdrawn: bool = False,
) -> Treatment:
    if not reason.strip():
        raise NotATreatmentError("Say why, for whoever asks.", field="reason")
    try:
        with transaction.atomic():
            return _write(
                member,
                done,
                now=now,
                supersedes=treatment,
                reason=reason.strip(),
                withdrawn=withdrawn,
            )
    except IntegrityError as error:
        # Two corrections at the same moment: the unique key let one through.
        raise ConflictError(
            "Somebody corrected this treatment at the same moment. Look at theirs"
            " first."
        ) from error


def _write(
    member: Member,
    done: Done,
    *,
    now: datetime,
    supersedes: Treatment | None = None,
    reason: str = "",
    withdrawn: bool = False,
) -> Treatment:
    treatment = Treatment.objects.create(
        farm_group=member.farm_group,
        treated_on=done.treated_on,
        category=done.category,
        active_ingredient=done.active_ingredient.strip(),
        rate=done.rate,
        rate_unit=done.rate_unit,
        operator=done.operator.strip(),
        note=done.note.strip(),
        recorded_at=now,
        recorded_by=member.user,
        supersedes=supersedes,
        reason=reason,
        withdrawn=withdrawn,
    )
    TreatedBlock.objects.bulk_create(
        TreatedBlock(
            farm_group=member.farm_group, treatment=treatment, block_id=key, part=part
        )
        for key, part in sorted(done.parts())
    )
    return treatment
