"""Enter, correct and withdraw calibration runs, and put their recovery in force."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from blocks.access import Member
from blocks.errors import ConflictError
from monitoring.models import CalibrationRun, Organism, Recovery
from monitoring.recoveries.pools import FEWEST_RUNS, Pool
from monitoring.recoveries.runs import problem_of, tidy
from monitoring.services.changes import note_changed_rounds, rounds_with_tissue
from monitoring.services.settings import NotAllowedValueError
from monitoring.words import day

Kind, State = CalibrationRun.Kind, CalibrationRun.State


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A calibration run as it is entered."""

    organism: Organism
    tissue: str
    method: str
    kind: str
    ran_on: date
    ran_by: str
    catches: tuple[int, ...] = ()
    added: int | None = None
    recovered: int | None = None
    note: str = ""


@transaction.atomic
def enter_run(member: Member, measured: Measured, *, today: date) -> CalibrationRun:
    """Keep a run; what tells no recovery is refused in words."""
    return _keep(member, measured, today=today)


@transaction.atomic
def correct_run(
    member: Member,
    run: CalibrationRun,
    measured: Measured,
    *,
    reason: str,
    now: datetime,
) -> CalibrationRun:
    """Put another run in the place of one that was wrong."""
    _end(member, run, state=State.SUPERSEDED, reason=reason, now=now)
    today = now.astimezone(member.farm_group.zone).date()
    return _keep(member, measured, today=today, supersedes=run)


@transaction.atomic
def withdraw_run(
    member: Member, run: CalibrationRun, *, reason: str, now: datetime
) -> None:
    """Let a run no longer count; it stays in sight with the reason."""
    _end(member, run, state=State.WITHDRAWN, reason=reason, now=now)


def _keep(
    member: Member,
    measured: Measured,
    *,
    today: date,
    supersedes: CalibrationRun | None = None,
) -> CalibrationRun:
    spike = measured.recovered or 0, measured.added or 0
    problem = problem_of(measured.kind, measured.catches, spike)
    if problem:
        raise NotAllowedValueError(problem)
    if measured.ran_on > today:
        raise NotAllowedValueError(f"{day(measured.ran_on)} has not come yet.")
    of_spikes = measured.kind == Kind.SPIKES
    values = {
        "organism": measured.organism,
        "tissue": measured.tissue,
        "method": tidy(measured.method),
        "kind": measured.kind,
        "catches": [] if of_spikes else list(measured.catches),
        "added": measured.added if of_spikes else None,
        "recovered": measured.recovered if of_spikes else None,
        "ran_on": measured.ran_on,
        "ran_by": tidy(measured.ran_by),
        "note": measured.note.strip(),
    }
    mine = CalibrationRun.objects.for_group(member.group_id)
    if mine.filter(state=State.STANDING, **values).exists():
        raise ConflictError(
            "This run is there already. If another run of that day gave the same"
            " counts, say in the note which one it is."
        )
    return CalibrationRun.objects.create(
        farm_group=member.farm_group,
        created_by=member.user,
        supersedes=supersedes,
        **values,
    )


def _end(
    member: Member, run: CalibrationRun, *, state: str, reason: str, now: datetime
) -> None:
    mine = CalibrationRun.objects.for_group(member.group_id)
    ended = mine.filter(pk=run.pk, state=State.STANDING).update(
        state=state, reason=reason.strip(), ended_at=now, ended_by=member.user
    )
    if not ended:
        raise ConflictError("This run was corrected or withdrawn by somebody already.")


@transaction.atomic
def put_in_force(
    member: Member, pool: Pool, *, of: tuple[Organism, str], valid_from: date, note: str
) -> Recovery:
    """Use the recovery of pooled runs for rounds from a date on; densities follow.

    A round's bags are washed together, so they share the recovery of one run to come.
    """
    if not pool.enough:
        raise NotAllowedValueError(
            f"{FEWEST_RUNS} runs or more are needed: fewer do not show how unlike runs"
            " are."
        )
    organism, tissue = of
    days = [run.ran_on for run in pool.runs]
    told = (
        f"{len(days)} runs, {day(min(days))} to {day(max(days))}; {pool.runs[0].method}"
    )
    recovery = Recovery.objects.create(
        farm_group=member.farm_group,
        organism=organism,
        tissue=tissue,
        alpha=pool.pooled.new_run.a,
        beta=pool.pooled.new_run.b,
        origin=pool.origin,
        note="; ".join(part for part in (told, note.strip()) if part)[:300],
        basis=pool.basis,
        valid_from=valid_from,
        created_by=member.user,
    )
    note_changed_rounds(
        member.group_id,
        rounds_with_tissue(member.group_id, tissue=tissue, since=valid_from),
    )
    return recovery
