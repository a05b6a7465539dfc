"""Addresses of groups, farms, people and blocks."""

from django.urls import URLPattern, path

from blocks.views import boundaries, home, people

GROUP = "g/<slug:group_slug>/"
IMPORT = f"{GROUP}blocks/import/<uuid:import_uuid>/"

urlpatterns: list[URLPattern] = [
    path("", home.home, name="home"),
    path("g/<slug:group_slug>/people/", people.people, name="people"),
    path(
        "g/<slug:group_slug>/people/<uuid:membership_uuid>/end/",
        people.end_part,
        name="end-membership",
    ),
    path(f"{GROUP}blocks/import/", boundaries.import_blocks, name="import-blocks"),
    path(IMPORT, boundaries.boundary_import, name="boundary-import"),
    path(f"{IMPORT}answers/", boundaries.answer_import, name="answer-import"),
    path(f"{IMPORT}publish/", boundaries.publish_import, name="publish-import"),
    path(f"{IMPORT}discard/", boundaries.discard_import, name="discard-import"),
    path(
        f"{GROUP}blocks/<uuid:block_uuid>/facts/",
        boundaries.edit_block,
        name="edit-block",
    ),
]
