"""Addresses of calibration runs and of counting dishes in parts."""

from django.urls import URLPattern, path

from monitoring.views import calibrations, dishes

GROUP = "g/<slug:group_slug>/"
CALIBRATIONS = f"{GROUP}laboratory/calibrations/"
RUN = f"{CALIBRATIONS}runs/<uuid:run_uuid>/"
POOL = f"{CALIBRATIONS}<uuid:organism_uuid>/<slug:tissue>/"

urlpatterns: list[URLPattern] = [
    path(CALIBRATIONS, calibrations.calibrations, name="calibrations"),
    path(
        f"{CALIBRATIONS}enter/",
        calibrations.enter_calibration,
        name="enter-calibration",
    ),
    path(RUN, calibrations.calibration, name="calibration"),
    path(
        f"{RUN}correct/", calibrations.correct_calibration, name="correct-calibration"
    ),
    path(
        f"{RUN}withdraw/",
        calibrations.withdraw_calibration,
        name="withdraw-calibration",
    ),
    path(POOL, calibrations.recovery_pool, name="recovery-pool"),
    path(
        f"{POOL}in-force/",
        calibrations.put_recovery_in_force,
        name="put-recovery-in-force",
    ),
    path(
        f"{GROUP}laboratory/dishes/<uuid:dish_uuid>/cells/",
        dishes.next_cells,
        name="next-cells",
    ),
    path(f"{GROUP}tallies/<uuid:tally_uuid>/", dishes.tally, name="tally"),
]
