"""What a person does with a sheet: upload, answer, correct, leave out, publish."""

from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from blocks.access import Member, Role
from blocks.errors import ConflictError, SiteError
from blocks.files import path_of, store
from blocks.wakeups import wake_after_commit
from monitoring.models import Organism, Sheet, SheetRow
from monitoring.services.settings import add_organism

State = Sheet.State
WORK_TASK = "monitoring.tasks.work_on_sheet"
LONGEST_FIELD = 5_000
ORGANISM = "organism:"


class NotNowError(SiteError):
    """The sheet is at a step in which this cannot be done."""

    code = "not-now"
    status = 409


class NoSuchChoiceError(SiteError):
    """An answer or a row that the sheet does not have."""

    code = "no-such-choice"
    status = 422


def receive(
    member: Member, *, file_name: str, chunks: Iterable[bytes]
) -> tuple[Sheet, bool]:
    """Keep an uploaded file and begin to read it.

    The same file published before is given back instead, with False.
    """
    stored = store("sheets", member.group_id, chunks)
    before = (
        Sheet.objects.for_group(member.group_id)
        .filter(sha256=stored.sha256, state=State.PUBLISHED)
        .select_related("published_by")
        .first()
    )
    if before is not None:
        path_of("sheets", member.group_id, stored.stored_name).unlink(missing_ok=True)
        return before, False
    sheet = Sheet.objects.create(
        farm_group=member.farm_group,
        file_name=file_name[-255:] or "unnamed",
        stored_name=stored.stored_name,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        uploaded_by=member.user,
    )
    _wake(sheet)
    return sheet, True


def _wake(sheet: Sheet) -> None:
    wake_after_commit(WORK_TASK, farm_group_id=sheet.farm_group_id, sheet_id=sheet.pk)


def _go_to(sheet: Sheet, state: Sheet.State) -> None:
    sheet.state = state
    sheet.state_changed_at = timezone.now()
    sheet.save()
    _wake(sheet)


def _must_be_checked(sheet: Sheet) -> Sheet:
    """Lock the sheet, and refuse while something else is under way with it."""
    locked: Sheet = (
        Sheet.objects.for_group(sheet.farm_group_id)
        .select_for_update(of=("self",))
        .get(pk=sheet.pk)
    )
    if locked.state != State.CHECKED:
        raise NotNowError(
            f"The sheet is {locked.get_state_display()}; that can be done once it is"
            " checked and before it is published. Look at it again."
        )
    return locked


@transaction.atomic
def answer(member: Member, sheet: Sheet, *, answers: dict[str, str]) -> None:
    """Take answers to the sheet's questions, and check it again."""
    locked = _must_be_checked(sheet)
    questions = {
        question["key"]: {value for value, _ in question["choices"]}
        for question in locked.summary.get("questions", [])
    }
    for key, value in answers.items():
        if key == "reason":
            locked.answers[key] = value.replace("\x00", "").strip()[:300]
            continue
        if value not in questions.get(key, ()):
            raise NoSuchChoiceError(
                f"“{value}” is not among the answers to that question. Choose one of"
                " those offered."
            )
        if key.startswith(ORGANISM) and value != "leave_out":
            _add_organism(member, key.removeprefix(ORGANISM), value)
        locked.answers[key] = value
    again = State.READING if "worksheet" in answers else State.CHECKING
    _go_to(locked, again)


def _add_organism(member: Member, name: str, value: str) -> None:
    if member.role != Role.COORDINATOR:
        raise NoSuchChoiceError(
            "Only a coordinator adds organisms. Leave the columns out, or ask one."
        )
    roles = {
        "add_pest": Organism.Role.PEST,
        "add_predator": Organism.Role.PREDATOR,
        "add_other": Organism.Role.OTHER,
    }
    try:
        add_organism(member, name=name.replace("_", " "), code=name, role=roles[value])
    except ConflictError:
        return  # added in the meantime: what was wanted is there


def _row_of(sheet: Sheet, number: int) -> SheetRow:
    row: SheetRow | None = (
        SheetRow.objects.for_group(sheet.farm_group_id)
        .filter(sheet=sheet, number=number)
        .first()
    )
    if row is None:
        raise NoSuchChoiceError(f"The sheet has no row {number}.")
    return row


@transaction.atomic
def correct_row(sheet: Sheet, *, number: int, fields: list[str]) -> None:
    """Take a row as corrected on the page; the row as it came is kept."""
    locked = _must_be_checked(sheet)
    row = _row_of(locked, number)
    width = max(len(locked.header), len(row.fields))
    if len(fields) > width or any(len(field) > LONGEST_FIELD for field in fields):
        raise NoSuchChoiceError("The row has more fields, or longer ones, than fit.")
    row.corrected = [field.replace("\x00", "") for field in fields]
    # A field too many is mended by emptying it.
    while len(row.corrected) > len(locked.header) and not row.corrected[-1].strip():
        row.corrected.pop()
    row.left_out = False
    row.save(update_fields=["corrected", "left_out"])
    _go_to(locked, State.CHECKING)


@transaction.atomic
def leave_out_rows(sheet: Sheet, *, numbers: list[int], leave_out: bool) -> None:
    """Leave rows out by their numbers, or take them in again."""
    locked = _must_be_checked(sheet)
    SheetRow.objects.for_group(locked.farm_group_id).filter(
        sheet=locked, number__in=numbers
    ).update(left_out=leave_out)
    _go_to(locked, State.CHECKING)


@transaction.atomic
def publish(member: Member, sheet: Sheet) -> None:
    """Let the sheet count; refused while it has errors or open questions."""
    locked = _must_be_checked(sheet)
    if locked.summary.get("errors") or locked.summary.get("open_questions"):
        raise NotNowError(
            "The sheet still has errors or open questions. Mend them, or leave the rows"
            " out, and publish then."
        )
    locked.published_by = member.user
    _go_to(locked, State.PUBLISHING)


@transaction.atomic
def discard(sheet: Sheet) -> None:
    """Put the sheet aside; the file is kept, and nothing of it counts."""
    locked = (
        Sheet.objects.for_group(sheet.farm_group_id)
        .select_for_update(of=("self",))
        .get(pk=sheet.pk)
    )
    if locked.state not in {State.CHECKED, State.REFUSED}:
        raise NotNowError(
            f"The sheet is {locked.get_state_display()} and cannot be discarded now."
        )
    locked.state = State.DISCARDED
    locked.save(update_fields=["state"])
