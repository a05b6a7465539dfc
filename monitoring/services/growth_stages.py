"""Give a round its growth stage, and keep what stood before."""

from django.db import transaction

from blocks.access import Member
from blocks.errors import SiteError
from monitoring.models import GrowthStageChange, Round
from monitoring.sheets.checking.values import FaultError
from monitoring.sheets.checking.values import growth_stage as read_stage


class NoSuchStageError(SiteError):
    """A stage that neither scale has."""

    code = "no-such-stage"
    status = 422


@transaction.atomic
def set_growth_stage(member: Member, one: Round, *, written: str) -> str:
    """Set a round's stage as written (“BBCH 75”, “EL 33”, or empty); give it back."""
    try:
        scale, code = read_stage(written.strip()) if written.strip() else ("", "")
    except FaultError as fault:
        raise NoSuchStageError(fault.sentence) from fault
    held: Round = (
        Round.objects.for_group(member.group_id).select_for_update().get(pk=one.pk)
    )
    before = held.growth_stage
    held.growth_scale, held.growth_code = scale, code
    if held.growth_stage == before:
        return before
    held.save(update_fields=["growth_scale", "growth_code"])
    GrowthStageChange.objects.create(
        farm_group=member.farm_group,
        round=held,
        stage_before=before,
        stage_after=held.growth_stage,
        changed_by=member.user,
    )
    return held.growth_stage
