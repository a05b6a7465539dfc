"""The bench's page, what a device keeps of it, and the kit that it counts with."""

import json
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import PrefixNode, static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from blocks.access import COUNTERS, Member
from blocks.views.doors import for_member
from monitoring.pages.bench_files import bench_files
from monitoring.pages.bench_kit import Told, kit_told
from monitoring.queries.bench_kit import kit_of

GROUND = "#15181c"


def _address(name: str, member: Member) -> str:
    return reverse(name, kwargs={"group_slug": member.farm_group.slug})


@require_safe
@for_member(*COUNTERS)
def shell(request: HttpRequest, member: Member) -> HttpResponse:
    """Give the bench's one page, which names no person: devices are shared."""
    shell_address = _address("bench", member)
    told = {
        "slug": member.farm_group.slug,
        "version": bench_files(member).version,
        "urls": {
            "shell": shell_address,
            "worker": _address("bench-worker", member),
            "kit": _address("bench-kit", member),
            "events": f"{shell_address}events/",
            "todo": f"{shell_address}todo/",
            "readings": f"{shell_address}readings/",
            "photos": f"{shell_address}photos/",
            "login": f"{reverse('account_login')}?next={shell_address}",
        },
    }
    return render(request, "monitoring/bench.html", {"told": told})


@require_safe
@for_member(*COUNTERS)
def worker(request: HttpRequest, member: Member) -> HttpResponse:
    """Give the script that keeps the page, with the list of what it keeps."""
    files = bench_files(member)
    told = {
        "slug": member.farm_group.slug,
        "version": files.version,
        "shell": _address("bench", member),
        "manifest": _address("bench-manifest", member),
        "static": PrefixNode.handle_simple("STATIC_URL"),
        "files": files.addresses,
    }
    return render(
        request,
        "monitoring/bench_worker.js",
        {"told": json.dumps(told)},
        content_type="text/javascript",
    )


@require_safe
@for_member(*COUNTERS)
def manifest(request: HttpRequest, member: Member) -> JsonResponse:
    """Say how the bench is installed as an application of its own."""
    shell_address = _address("bench", member)
    icons: list[dict[str, Any]] = [
        {
            "src": static(f"monitoring/bench/icon-{size}.png"),
            "sizes": f"{size}x{size}",
            "type": "image/png",
        }
        for size in (192, 512)
    ]
    maskable = static("monitoring/bench/icon-maskable-512.png")
    icons.append(
        {
            "src": maskable,
            "sizes": "512x512",
            "type": "image/png",
            "purpose": "maskable",
        }
    )
    told = {
        "id": shell_address,
        "name": f"Bench of {member.farm_group.name}",
        "short_name": "Bench",
        "description": "Count mites at the microscope, also without a network.",
        "start_url": shell_address,
        "scope": shell_address,
        "display": "standalone",
        "background_color": GROUND,
        "theme_color": GROUND,
        "icons": icons,
    }
    return JsonResponse(told, content_type="application/manifest+json")


@require_safe
@for_member(*COUNTERS)
def kit(request: HttpRequest, member: Member) -> JsonResponse:
    """Give what a device keeps: bags, dishes, organisms, and never a count."""
    now = timezone.now()
    told = Told(
        page_version=bench_files(member).version,
        csrf_token=get_token(request),
        now=now,
    )
    return JsonResponse(kit_told(member, kit_of(member, now=now), told))
