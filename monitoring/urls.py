"""Addresses of rounds, sheets, densities and maps."""

from django.urls import URLPattern, path

from monitoring import (
    bag_urls,
    bench_urls,
    calibration_urls,
    clumping_urls,
    effort_urls,
    forecast_urls,
    plan_urls,
    season_urls,
    symptom_urls,
    training_urls,
    treatment_urls,
    washing_urls,
)
from monitoring.views import (
    counters,
    groups,
    laboratory,
    pages,
    sheet_files,
    sheets,
    tiles,
    workings,
)

GROUP = "g/<slug:group_slug>/"
SHEET = f"{GROUP}sheets/<uuid:sheet_uuid>/"

urlpatterns: list[URLPattern] = [
    path(GROUP, groups.group, name="group"),
    path(f"{GROUP}map/", groups.group_map_data, name="group-map-data"),
    path(f"{GROUP}tiles/<str:on>/<int:z>/<int:x>/<int:y>.mvt", tiles.tile, name="tile"),
    path(f"{GROUP}blocks/<uuid:block_uuid>/", pages.block, name="block"),
    path(f"{GROUP}rounds/<uuid:round_uuid>/", pages.visit, name="round"),
    path(f"{GROUP}densities/<uuid:density_uuid>/", workings.density, name="density"),
    path(f"{GROUP}ratios/<uuid:ratio_uuid>/", workings.ratio, name="ratio"),
    path(f"{GROUP}laboratory/", laboratory.laboratory, name="laboratory"),
    path(
        f"{GROUP}laboratory/organisms/add/",
        laboratory.add_organism,
        name="add-organism",
    ),
    path(
        f"{GROUP}laboratory/organisms/<uuid:organism_uuid>/",
        laboratory.change_organism,
        name="change-organism",
    ),
    path(f"{GROUP}laboratory/dishes/add/", laboratory.add_dish, name="add-dish"),
    path(f"{GROUP}laboratory/dishes/<uuid:dish_uuid>/", laboratory.dish, name="dish"),
    path(
        f"{GROUP}laboratory/dishes/<uuid:dish_uuid>/usual/",
        laboratory.make_dish_usual,
        name="make-dish-usual",
    ),
    path(
        f"{GROUP}laboratory/recoveries/add/",
        laboratory.state_recovery,
        name="state-recovery",
    ),
    path(
        f"{GROUP}laboratory/canopy-weights/",
        laboratory.canopy_weights,
        name="canopy-weights",
    ),
    path(
        f"{GROUP}laboratory/ratio/",
        laboratory.ratio_setting,
        name="ratio-setting",
    ),
    path(
        f"{GROUP}laboratory/symptom-scale/",
        laboratory.symptom_scale,
        name="symptom-scale",
    ),
    path(f"{GROUP}laboratory/counters/", counters.counters, name="counters"),
    path(
        f"{GROUP}laboratory/counters/standard/",
        counters.agreement_standard,
        name="agreement-standard",
    ),
    path(f"{GROUP}laboratory/blanks/", counters.blanks, name="blanks"),
    path(
        f"{GROUP}laboratory/blanks/<uuid:blank_uuid>/withdraw/",
        counters.withdraw_blank,
        name="withdraw-blank",
    ),
    path(f"{GROUP}sheets/", sheets.sheets, name="sheets"),
    path(f"{GROUP}sheets/layouts/", sheets.layouts, name="sheet-layouts"),
    path(
        f"{GROUP}sheets/layouts/<slug:layout>.<slug:kind>",
        sheet_files.template_file,
        name="sheet-template",
    ),
    path(f"{SHEET}", sheets.sheet, name="sheet"),
    path(f"{SHEET}answers/", sheets.answer_questions, name="answer-sheet"),
    path(f"{SHEET}rows/<int:number>/", sheets.correct_row, name="correct-row"),
    path(f"{SHEET}leave-out/", sheets.leave_out_faulty, name="leave-out-faulty"),
    path(f"{SHEET}publish/", sheets.publish_sheet, name="publish-sheet"),
    path(f"{SHEET}discard/", sheets.discard_sheet, name="discard-sheet"),
    path(f"{SHEET}original/", sheet_files.original, name="sheet-original"),
    path(f"{SHEET}annotated/", sheet_files.annotated, name="sheet-annotated"),
    path(f"{SHEET}findings/", sheet_files.findings, name="sheet-findings"),
    *treatment_urls.urlpatterns,
    *season_urls.urlpatterns,
    *effort_urls.urlpatterns,
    *forecast_urls.urlpatterns,
    *plan_urls.urlpatterns,
    *calibration_urls.urlpatterns,
    *clumping_urls.urlpatterns,
    *symptom_urls.urlpatterns,
    *bag_urls.urlpatterns,
    *bench_urls.urlpatterns,
    *washing_urls.urlpatterns,
    *training_urls.urlpatterns,
]
