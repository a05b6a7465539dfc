"""What keeps each room small, and each import going down."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
APPS = ("blocks", "monitoring", "alerts", "deploy")
LONGEST_FILE = 400
LONGEST_BODY = 40
LONGEST_SCRIPT = 150
LONGEST_TEMPLATE = 150


def _sources() -> list[Path]:
    return [
        path
        for app in APPS
        for path in sorted((ROOT / app).rglob("*.py"))
        if "migrations" not in path.parts
    ]


def _functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def _body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    first = node.body[1] if ast.get_docstring(node) and node.body[1:] else node.body[0]
    return (node.body[-1].end_lineno or 0) - first.lineno + 1


def test_no_file_has_outgrown_its_room() -> None:
    long = [
        f"{path.relative_to(ROOT)}: {lines} lines"
        for path in _sources()
        if (lines := len(path.read_text().splitlines())) > LONGEST_FILE
    ]
    assert long == []


def test_no_function_has_outgrown_its_room() -> None:
    long = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}: {_body_lines(node)} lines"
        for path in _sources()
        for node in _functions(ast.parse(path.read_text()))
        if _body_lines(node) > LONGEST_BODY
    ]
    assert long == []


@pytest.mark.parametrize(
    ("pattern", "longest"),
    [("static/**/*.js", LONGEST_SCRIPT), ("templates/**/*.html", LONGEST_TEMPLATE)],
)
def test_no_script_or_template_has_outgrown_its_room(
    pattern: str, longest: int
) -> None:
    long = [
        f"{path.relative_to(ROOT)}: {lines} lines"
        for app in APPS
        for path in sorted((ROOT / app).glob(pattern))
        if "vendor" not in path.parts
        and (lines := len(path.read_text().splitlines())) > longest
    ]
    assert long == []


def test_views_tasks_and_figures_ask_queries_and_services_for_rows() -> None:
    rooms = ("views", "api", "figures", "templatetags")
    asking = []
    for path in _sources():
        if not (set(path.parts) & set(rooms) or path.name in {"tasks.py", "views.py"}):
            continue
        asking += [
            f"{path.relative_to(ROOT)}:{node.lineno}"
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.Attribute)
            and node.attr in {"objects", "_default_manager"}
        ]
    assert asking == []


def test_migrations_are_named_for_what_they_do() -> None:
    unnamed = [
        str(path.relative_to(ROOT))
        for app in APPS
        for path in (ROOT / app).glob("migrations/0*.py")
        if "auto_" in path.name
    ]
    assert unnamed == []


def test_every_template_and_script_keeps_to_the_content_policy() -> None:
    """Inline scripts, styles and handlers would be blocked in the browser."""
    guilty = []
    for app in APPS:
        for path in sorted((ROOT / app).glob("templates/**/*.html")):
            text = path.read_text()
            inline = "<script>" in text or " style=" in text or " onclick=" in text
            # Mail has no content policy and no style sheet of its own.
            if inline and "mail" not in path.parts:
                guilty.append(str(path.relative_to(ROOT)))
    assert guilty == []
