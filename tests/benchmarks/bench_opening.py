"""Opening the bench's page without a network, and keeping an event on disk.

    python -m tests.benchmarks.bench_opening

From the start of navigation until the view can be used, with 10,000 events in the
store, 10 times: allowed is 1 s at the median. And how long one event takes to be kept,
with the browser's relaxed and strict durability, in a profile on disk. Needs the
environment of the tests.
"""

import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import BrowserContext, Page, sync_playwright

from tests.benchmarks import bench_page

from django.contrib.staticfiles import finders  # isort: skip
from django.template.loader import render_to_string  # isort: skip

OPENINGS, KEPT = 10, 300
ALLOWED_MS = 1000.0
KEEP = """async ([durability, times]) => {
  const { openStore } = await import("/static/monitoring/bench/store.js");
  const store = await openStore(`tried-${durability}`, { durability });
  const draft = { kind: "press", reading: crypto.randomUUID(),
    payload: { organism: crypto.randomUUID(), place: "H7" } };
  const waits = [];
  for (let i = 0; i < times; i += 1) {
    const begun = performance.now();
    await store.append([draft]);
    waits.push(performance.now() - begun);
    await new Promise((next) => { setTimeout(next, 10); });
  }
  return waits;
}"""
WORKING = """async () => {
  await navigator.serviceWorker.ready;
  while (!navigator.serviceWorker.controller) await new Promise((next) =>
    navigator.serviceWorker.addEventListener("controllerchange", next, { once: true }));
}"""
# The page says so itself when its first view is open.
READY = """() => new Promise((done) => {
  const root = document.documentElement;
  const told = () => root.dataset.ready && done(performance.now());
  if (!told()) new MutationObserver(told).observe(root, { attributes: true });
})"""


class Site(bench_page.Site):
    """The page with its worker."""

    def end_headers(self) -> None:
        # The worker lies beside the page here, not below it.
        self.send_header("Service-Worker-Allowed", bench_page.SHELL)
        super().end_headers()

    def do_GET(self) -> None:  # noqa: N802 - the library's name
        if self.path == f"{bench_page.SHELL}worker/":
            self._answer(worker(), "text/javascript")
        else:
            super().do_GET()


def worker() -> bytes:
    """Render the worker's script for a farm group that is in no database."""
    root = Path(str(finders.find("monitoring/bench/app.js"))).parent
    files = [
        f"/static/monitoring/bench/{file.relative_to(root).as_posix()}"
        for file in root.rglob("*")
        if file.is_file()
    ]
    files += ["/static/blocks/tokens.css", "/static/blocks/base.css"]
    files += ["/static/blocks/icon.svg", "/static/vendor/idb-8.0.4/index.js"]
    told = {
        "slug": bench_page.SLUG,
        "version": "benchmark",
        "shell": bench_page.SHELL,
        "manifest": f"{bench_page.SHELL}kit/",
        "static": "/static/",
        "files": files,
    }
    page = render_to_string("monitoring/bench_worker.js", {"told": json.dumps(told)})
    return page.encode()


def openings(context: BrowserContext, page: Page, address: str) -> list[float]:
    """Open the kept page in fresh tabs without a network; gives milliseconds."""
    page.goto(f"{address}{bench_page.SHELL}")
    page.locator("html[data-ready=yes]").wait_for()
    start = [bench_page.READING, bench_page.MITES, bench_page.started()]
    page.evaluate(bench_page.EARLIER_PRESSES, [*start, bench_page.EARLIER])
    page.evaluate(WORKING)
    context.set_offline(True)
    waits = []
    for _ in range(OPENINGS):
        tab = context.new_page()
        tab.goto(f"{address}{bench_page.SHELL}", wait_until="commit")
        waits.append(float(tab.evaluate(READY)))
        tab.close()
    context.set_offline(False)
    return waits


def main() -> int:
    """Say the figures; fails where opening takes longer than is allowed."""
    say = bench_page.say
    path = os.environ.get("WASHBOARD_CHROMIUM", "/usr/bin/chromium")
    vars(bench_page)["Site"] = Site
    with (
        tempfile.TemporaryDirectory() as profile,
        bench_page.served() as address,
        sync_playwright() as tool,
    ):
        context: Any = tool.chromium.launch_persistent_context(
            profile, executable_path=path, args=bench_page.FLAGS
        )
        page = context.new_page()
        waits = openings(context, page, address)
        kept = {
            durability: page.evaluate(KEEP, [durability, KEPT])
            for durability in ("relaxed", "strict", "relaxed", "strict")
        }
        context.close()
    middle = float(np.median(waits))
    say(f"opened without a network: median {middle:.0f} ms, worst {max(waits):.0f} ms")
    for durability, times in kept.items():
        p50, p95, p99 = np.percentile(times, (50, 95, 99))
        say(f"an event kept, {durability}: p50 {p50:.1f}, p95 {p95:.1f}, p99 {p99:.1f}")
    return int(middle > ALLOWED_MS)


if __name__ == "__main__":
    sys.exit(main())
