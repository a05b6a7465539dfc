"""The bench as a site serves it: modules under hashed names find each other."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.test.testcases import LiveServerThread
from playwright.sync_api import Browser, Response, expect

from monitoring.models import Bag
from tests.browser.bench_device import Devices
from tests.builders import World

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
# Nothing of the bench; gathering all of it would take long.
ELSEWHERE = [
    *("admin", "gis", "rest_framework", "drf_spectacular*", "account", "django_htmx"),
    *("maplibre-gl-*", "plotly-cartesian-*"),
]
VIEWS = ["collect", "wash", "unsent", "keys", "device", "pick"]


class AsTheSite(WSGIHandler):
    """Leave files to the site itself, which serves them as gathered."""

    def __init__(self, site: WSGIHandler) -> None:
        self.site = site

    def __call__(self, environ: Any, start_response: Any) -> Any:
        return self.site(environ, start_response)


@pytest.fixture
def gathered(settings: Any, tmp_path: Path, transactional_db: None) -> Iterator[str]:
    """Serve the site with gathered files, and give its address."""
    settings.STATIC_ROOT = tmp_path / "gathered"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "deploy.project.static.VendorAwareStorage"},
    }
    call_command(
        "collectstatic", interactive=False, verbosity=0, ignore_patterns=ELSEWHERE
    )
    server = LiveServerThread("localhost", static_handler=AsTheSite)
    server.daemon = True
    server.start()
    server.is_ready.wait()
    if server.error:
        raise server.error
    yield f"http://localhost:{server.port}"
    server.terminate()


def test_every_view_opens_by_hashed_names_and_without_a_network(
    world: World, bag: Bag, browser: Browser, gathered: str
) -> None:
    devices = Devices(browser, gathered, [], [])
    device = devices.of(world, browser.new_context(base_url=gathered))
    asked: list[str] = []

    def note(response: Response) -> None:
        if "/static/monitoring/bench/" in response.url:
            asked.append(response.url)

    device.page.on("response", note)
    device.sign_in()
    device.name()
    device.context.set_offline(True)
    device.page.reload()
    device.ready()
    reading = device.start(bag)
    for view in [*VIEWS, f"tally/{reading}", f"finish/{reading}"]:
        device.page.evaluate(
            "(view) => new Promise((shown) => {"
            " document.addEventListener('bench:view', shown, { once: true });"
            " location.hash = `#/${view}`; })",
            view,
        )
        assert device.page.locator("[data-alert]").inner_text() == "", view
        # A view of one round alone goes on to it, which takes a moment.
        expect(device.page.locator("#content h1").first, view).to_be_visible()
    assert asked
    assert all(url.rsplit(".", 2)[1].isalnum() and len(url.rsplit(".", 2)[1]) == 12
               for url in asked), asked  # fmt: skip
    for context in devices.contexts:
        context.close()
    assert devices.complaints == []
