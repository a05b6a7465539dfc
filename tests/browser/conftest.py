"""The system's Chromium against a live server; wake-ups run as a worker would."""

import os
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from celery import current_app
from django.db import transaction
from django.utils import timezone
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from alerts.services.thresholds import Values, Watched, set_threshold, subscribe
from blocks import wakeups
from blocks.access import member_for
from monitoring.models import Organism
from tests.browser.bench_device import bag, devices
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
__all__ = ["bag", "devices"]
PASSWORD = "a long enough password"
WAIT_MS = 60_000
# What the software renderer says of itself; nothing a page could change.
HARMLESS = ("GPU stall", "GroupMarkerNotSet", "WebGL")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # Playwright's loop runs in this thread; Django would take it for async code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    path = os.environ.get("WASHBOARD_CHROMIUM", "/usr/bin/chromium")
    with sync_playwright() as tool:
        opened = tool.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture(autouse=True)
def _worker(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Any) -> None:
    """Run woken tasks at once, after the commit that woke them."""
    settings.SHOWS_MAIL = True
    settings.EMAIL_BACKEND = "alerts.delivery.folder.FolderBackend"
    settings.EMAIL_FILE_PATH = str(tmp_path / "mail")

    class Worker:
        def send_task(self, name: str, **options: Any) -> None:
            task = current_app.tasks[name]
            task.apply(kwargs=options.get("kwargs") or {}, throw=True)

    current_app.loader.import_default_modules()
    monkeypatch.setattr(wakeups, "current_app", Worker())


@pytest.fixture(autouse=True)
def _many_people_of_one_address(settings: Any) -> None:
    """Let all tests sign in from one address, as one address never would."""
    settings.ACCOUNT_RATE_LIMITS = False


@pytest.fixture
def open_page(browser: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """Open a page in a browser of its own; what its console complains of fails."""
    complaints: list[str] = []
    contexts = []

    def hear(message: ConsoleMessage) -> None:
        if message.type == "error" and not any(h in message.text for h in HARMLESS):
            complaints.append(message.text)

    def open_(**options: Any) -> Page:
        context = browser.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        page.on("console", hear)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page

    yield open_
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def sign_in(open_page: Callable[..., Page]) -> Callable[..., Page]:
    def enter(world: World, role: str, **options: Any) -> Page:
        page = open_page(**options)
        page.goto("/accounts/login/")
        page.get_by_label("Email").fill(world.people[role].email)
        page.get_by_label("Password", exact=True).fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("heading", name="Blocks", exact=True).wait_for()
        return page

    return enter


@pytest.fixture
def watched_world(make_world: Callable[..., World]) -> World:
    """A world with a threshold, a subscriber and one quiet round."""
    world = make_world("Watched ")
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        mites = Organism.objects.get(farm_group=world.group, code="rust_mites")
        set_threshold(
            member,
            Watched(tissue="leaf", organism=mites),
            Values(level=100),
            reason="",
            now=timezone.now(),
        )
        consultant = member_for(world.people["consultant"], world.slug)
        subscribe(consultant, by_email=True)
    day = timezone.localdate() - timedelta(days=9)
    desk = Desk(world)
    rows = [bag_row(bag=i, block=world.block.name, collected_on=day, washed_on="",
                    rust_mites=i) for i in range(8)]  # fmt: skip
    desk.publish(desk.upload(bag_sheet(*rows), "quiet.csv"))
    return world
