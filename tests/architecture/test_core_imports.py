"""The estimation core stands alone, and says what it takes and where it is from."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "monitoring" / "estimation"
FOREIGN = ("django", "celery", "rest_framework", "psycopg", "plotly")
# Small checks and look-ups at the core's edge: they take what their name says.
PLAIN_FILES = {"validation.py"}


def _modules() -> list[str]:
    return [
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in sorted(CORE.rglob("*.py"))
    ]


def test_core_loads_nothing_of_the_site() -> None:
    lines = [
        "import importlib, sys",
        f"[importlib.import_module(name) for name in {_modules()!r}]",
        f"print([name for name in {FOREIGN!r} if name in sys.modules])",
    ]
    done = subprocess.run(
        [sys.executable, "-c", "\n".join(lines)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "[]"


def _public_functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in sorted(CORE.rglob("*.py")):
        if path.name in PLAIN_FILES:
            continue
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield path.name, node


def _unsaid(node: ast.FunctionDef) -> list[str]:
    said = ast.get_docstring(node) or ""
    taken = [one.arg for one in (*node.args.args, *node.args.kwonlyargs)]
    wanted = [*taken, "Raises", "Source:"]
    return [word for word in wanted if word not in said]


def test_every_public_function_says_its_arguments_errors_and_source() -> None:
    unsaid = {
        f"{file}:{node.name}": missing
        for file, node in _public_functions()
        if (missing := _unsaid(node))
    }
    assert unsaid == {}


def test_the_docstring_check_sees_functions_and_what_they_leave_out() -> None:
    """So that the check above cannot pass by looking at nothing."""
    assert len(list(_public_functions())) > 20
    (node,) = ast.parse('def f(counts):\n    """Raises nothing. Source: here."""').body
    assert isinstance(node, ast.FunctionDef)
    assert _unsaid(node) == ["counts"]
