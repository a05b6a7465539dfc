"""The page folds a reading as the server does, by the cases that both share."""

import json
from pathlib import Path

import pytest

from tests.browser.bench_device import Devices
from tests.builders import World

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
VECTORS = Path(__file__).parents[1] / "monitoring" / "bench" / "vectors.json"
FOLD = """async (cases) => {
  const { fold } = await import("/static/monitoring/bench/fold.js");
  return cases.map(({ events }) => fold(events));
}"""


def test_page_folds_the_shared_cases_as_written(world: World, devices: Devices) -> None:
    cases = json.loads(VECTORS.read_text())["cases"]
    folded = devices(world).page.evaluate(FOLD, cases)
    for case, came in zip(cases, folded, strict=True):
        assert came == case["folded"], case["name"]
