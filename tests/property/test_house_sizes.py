"""The house stays small: a module below 300 lines of code, a function below 50, a plain top."""

from __future__ import annotations

import ast
import io
import shutil
import subprocess
import tokenize
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "airsense"
SIMULATE = PACKAGE.parent / "tests" / "simulate"
MODULES = sorted(p for root in (PACKAGE, SIMULATE) for p in root.rglob("*.py"))
MODULE_BELOW, FUNCTION_BELOW = 300, 50
TOP = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"} | {
    "airsense", "tests", "reference_data", "examples",
}  # fmt: skip
NO_CODE = {
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
}


def code_lines(text: str) -> set[int]:
    """Return the numbers of the lines that hold code: no blanks, comments and docstrings."""
    tokens = tokenize.generate_tokens(io.StringIO(text).readline)
    found = {
        line
        for token in tokens
        if token.type not in NO_CODE
        for line in range(token.start[0], token.end[0] + 1)
    }
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                found -= set(range(first.lineno, (first.end_lineno or first.lineno) + 1))
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE.parent)))
def test_modules_and_functions_are_small(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    lines = code_lines(text)
    assert len(lines) < MODULE_BELOW
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            end = node.end_lineno or node.lineno
            size = sum(node.lineno <= line <= end for line in lines)
            assert size < FUNCTION_BELOW, f"{node.name}, line {node.lineno}: {size} lines of code"


def test_comments_and_docstrings_are_no_code() -> None:
    doc = '"""Doc."""\n\n# why\n'
    text = doc + 'def f():\n    """Say.\n\n    More.\n    """\n    return (\n        1\n    )\n'
    assert code_lines(text) == {4, 9, 10, 11}


def test_the_top_of_the_checkout_holds_nothing_else() -> None:
    """A file that a command leaves behind is easily committed."""
    git = shutil.which("git")
    if git is None or not (PACKAGE.parent / ".git").exists():
        pytest.skip("not a git checkout, or no git")
    asked = subprocess.run(
        [git, "ls-files"], cwd=PACKAGE.parent, capture_output=True, text=True, check=False
    )
    if asked.returncode:
        pytest.skip(f"git does not answer: {asked.stderr.strip()[:200]}")
    top = {line.split("/")[0] for line in asked.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= TOP
