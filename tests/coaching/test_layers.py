"""What import-linter cannot see, since it looks at whole external packages only."""

import ast
from pathlib import Path

import pytest

COACHING = Path(__file__).parent.parent.parent / "coaching"
BELOW_MAIL = [
    path
    for layer in ("models", "operations", "reads", "compute")
    for path in (COACHING / layer).rglob("*.py")
]


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("path", BELOW_MAIL, ids=lambda path: str(path.relative_to(COACHING)))
def test_nothing_below_the_mail_layer_sends_mail(path):
    assert not [name for name in imported(path) if name.startswith("django.core.mail")]


@pytest.mark.parametrize("path", sorted((COACHING / "operations").rglob("*.py")), ids=lambda path: path.name)
def test_no_operation_reads_the_clock(path):
    calls = {
        node.attr
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) in ("timezone", "datetime", "date")
    }
    assert not calls & {"now", "today", "utcnow", "localdate", "localtime"}


def test_the_package_itself_is_empty():
    assert (COACHING / "__init__.py").read_text() == ""
