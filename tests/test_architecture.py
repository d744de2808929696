"""The arrows between the folders, the size of files and functions, the docstrings."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FILES = sorted([*ROOT.glob("models/**/*.py"), *ROOT.glob("optimizer/**/*.py")])

# What a file may import of the project, by the folder or file it stands in.  Common
# ground (axes, errors, variables …) may be imported by anybody above it.
COMMON = {"models.axes", "models.errors"}
SHAPES = COMMON | {"models.stress", "models.ledger", "models.points", "models.variables"}
ARROWS = {
    "models.physics": COMMON | {"models.stress", "models.physics"},
    "models.parts": SHAPES | {"models.case", "models.cost", "models.physics", "models.parts"},
    "models.stages": SHAPES | {"models.case", "models.physics", "models.parts", "models.stages"},
    "models": {"models"},
    "optimizer": {"models", "optimizer"},
}
FILE_LINES, FUNCTION_LINES = 400, 60


def module(path: Path) -> str:
    """Return the dotted name of a file."""
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    return name.removesuffix(".__init__")


def imports(path: Path) -> set[str]:
    """Return the project modules that a file imports outside type checking blocks."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{a.name}" for a in node.names} | {node.module}
        elif isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
    return {name for name in found if name.split(".")[0] in ("models", "optimizer")}


def allowed(path: Path) -> set[str]:
    """Return the prefixes that a file may import."""
    name = module(path)
    for prefix, arrows in ARROWS.items():
        if name == prefix or name.startswith(prefix + "."):
            return arrows
    raise AssertionError(f"{name} stands in no known folder")


@pytest.mark.parametrize("path", FILES, ids=module)
def test_imports_follow_the_arrows(path):
    def covered(name, arrows):
        return any(name == a or name.startswith(a + ".") for a in arrows)

    own = imports(path) - {
        "models",
        "optimizer",
        "models.stages",
        "models.parts",
        "models.physics",
    }
    wrong = sorted(n for n in own if not covered(n, allowed(path)))
    assert not wrong, f"{module(path)} may not import {wrong}"


def test_models_never_import_the_optimizer():
    for path in FILES:
        if module(path).startswith("models"):
            assert not any(n.startswith("optimizer") for n in imports(path)), path


def test_stages_never_see_a_topology():
    for path in FILES:
        if module(path).startswith(("models.stages", "models.parts", "models.physics")):
            assert not any("topologies" in n for n in imports(path)), path


@pytest.mark.parametrize("path", FILES, ids=module)
def test_no_file_and_no_function_is_feared(path):
    text = path.read_text()
    assert len(text.splitlines()) <= FILE_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            doc = ast.get_docstring(node, clean=False)
            body = node.end_lineno - node.lineno + 1 - (len(doc.splitlines()) if doc else 0)
            assert body <= FUNCTION_LINES, f"{node.name} has {body} lines"


@pytest.mark.parametrize(
    "path", [p for p in FILES if module(p).startswith("models.physics.")], ids=module
)
def test_every_public_physics_function_names_its_source_and_units(path):
    for node in ast.parse(path.read_text()).body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            doc = ast.get_docstring(node) or ""
            assert "[" in doc, f"{node.name} names no unit"
            assert "Source" in doc or "source" in doc, f"{node.name} names no source"
