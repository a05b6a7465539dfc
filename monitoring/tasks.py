"""Background work of this app: ids in, safe to run twice."""

from datetime import timedelta

from celery import current_app, shared_task
from django.utils import timezone

from blocks.tenancy import farm_group_ids, stating
from monitoring.densities.store import compute_changed
from monitoring.services.bench_sweep import settle_left
from monitoring.sheets.queries import unfinished_sheet_ids
from monitoring.sheets.work import work_on

# A step that has not moved for so long was left behind by a killed worker.
LEFT_BEHIND_AFTER = timedelta(seconds=45)


@shared_task
def work_on_sheet(*, farm_group_id: int, sheet_id: int) -> str:
    """Do the steps of one sheet that are due."""
    return work_on(farm_group_id, sheet_id)


@shared_task
def resume_sheets() -> int:
    """Take up sheets whose worker died or whose wake-up was lost."""
    resumed = 0
    for group_id in farm_group_ids():
        with stating(group_id):
            before = timezone.now() - LEFT_BEHIND_AFTER
            left_behind = unfinished_sheet_ids(group_id, before=before)
        for sheet_id in left_behind:
            current_app.send_task(
                "monitoring.tasks.work_on_sheet",
                kwargs={"farm_group_id": group_id, "sheet_id": sheet_id},
            )
            resumed += 1
    return resumed


@shared_task
def compute_changed_densities() -> int:
    """Compute the densities that are due, of all farm groups."""
    return sum(compute_changed(group_id) for group_id in farm_group_ids())


@shared_task
def settle_benches() -> int:
    """Take up what benches brought and could not be worked out when they came."""
    return sum(settle_left(group_id) for group_id in farm_group_ids())
