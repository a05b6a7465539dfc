"""Addresses of bags: their pages, labels, scanning and queues."""

from django.urls import URLPattern, path

from monitoring.views import bag_labels, bag_moves, bags

GROUP = "g/<slug:group_slug>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}bags/", bags.queues, name="bags"),
    path(f"{GROUP}bags/scan/", bags.scan, name="scan"),
    path(f"{GROUP}bags/settings/", bag_labels.setting, name="bag-setting"),
    path(f"{GROUP}bags/<uuid:bag_uuid>/", bags.bag, name="bag"),
    path(f"{GROUP}bags/<uuid:bag_uuid>/move/", bags.move, name="move-bag"),
    # Short, since it stands in the QR codes of labels.
    path(f"{GROUP}b/<str:label>/", bags.by_label, name="bag-by-label"),
    path(
        f"{GROUP}blocks/<uuid:block_uuid>/bags/",
        bag_labels.plan_bags,
        name="plan-bags",
    ),
    path(
        f"{GROUP}plans/<uuid:plan_uuid>/bags/",
        bag_labels.bags_of_plan,
        name="bags-of-plan",
    ),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/bags/",
        bag_labels.make_more,
        name="make-bags",
    ),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/bags/move/",
        bag_moves.move_many,
        name="move-bags",
    ),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/labels/",
        bag_labels.labels,
        name="labels",
    ),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/labels/give/",
        bag_labels.give,
        name="give-labels",
    ),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/labels.pdf",
        bag_labels.labels_file,
        name="labels-pdf",
    ),
]
