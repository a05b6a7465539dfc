"""State the agreement asked of counters; take back blank washes."""

from datetime import date

from django.db import transaction
from django.utils import timezone

from blocks.access import Member
from blocks.errors import ConflictError
from monitoring.models import AgreementStandard, BlankWash


def state_standard(
    member: Member,
    *,
    least_concordance: float,
    widest_ratio: float,
    valid_from: date,
    note: str,
) -> AgreementStandard:
    """Ask for another agreement from a date on; earlier standards are kept."""
    return AgreementStandard.objects.create(
        farm_group=member.farm_group,
        least_concordance=least_concordance,
        widest_ratio=widest_ratio,
        valid_from=valid_from,
        note=note.strip(),
        created_by=member.user,
    )


@transaction.atomic
def withdraw_blank(member: Member, blank: BlankWash, *, why: str) -> None:
    """Let a blank wash no longer stand; it stays to be seen, with who and why."""
    changed = (
        BlankWash.objects.for_group(member.group_id)
        .filter(pk=blank.pk, withdrawn_at=None)
        .update(
            withdrawn_at=timezone.now(),
            withdrawn_by=member.user,
            withdrawn_why=why.strip(),
        )
    )
    if not changed:
        raise ConflictError("This blank wash was withdrawn already.")
