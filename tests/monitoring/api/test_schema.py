"""The schema of the API can be written without a doubt."""

import json
from io import StringIO
from typing import Any

from django.core.management import call_command


def _schema() -> dict[str, Any]:
    """Write the schema, checked against OpenAPI's own, with warnings as errors."""
    written = StringIO()
    options = ["--validate", "--fail-on-warn", "--format", "openapi-json"]
    call_command("spectacular", *options, stdout=written)
    schema: dict[str, Any] = json.loads(written.getvalue())
    return schema


def test_every_list_says_that_it_comes_in_pages() -> None:
    schema = _schema()
    assert len(schema["paths"]) >= 2
    for path, calls in schema["paths"].items():
        if not path.startswith("/api/"):
            continue  # the bench's own addresses, which give no lists
        answer = calls["get"]["responses"]["200"]["content"]["application/json"]
        name = answer["schema"]["$ref"].rsplit("/", 1)[1]
        described = schema["components"]["schemas"][name]["properties"]
        assert {"count", "next", "previous", "results"} == set(described), path
        parameters = {row["name"] for row in calls["get"]["parameters"]}
        assert {"page", "page_size"} <= parameters, path
