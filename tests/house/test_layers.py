"""Imports go one way: a module imports only from layers above it in this list."""

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

import xover

PACKAGE = Path(xover.__file__).parent
LAYERS = [
    "errors",
    "rules",
    "sentences",
    "pool",
    "declare",
    "plain",
    "quantity",
    "units",
    "readable",
    "figures",
    "remark",
    "terms",
    "ledger",
    "curve",
    "blocks",
    "files",
    "recordings",
    "network",
    "driver",
    "acoustic",
    "electronic",
    "amplifier",
    "parts",
    "speaker",
    "sound",
    "search",
    "explain",
    "judge",
    "studies",
    "bench",
    "drawing",
    "report",
    "api",
    "cli",
]
MODULES = sorted(PACKAGE.rglob("*.py"))


def layer_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """All nodes of a module, read once."""
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


def imports_of(path: Path) -> list[str]:
    """Every xover module imported anywhere in a file, inside functions too."""
    found = []
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} has a relative import"
            found.append(node.module or "")
    return [name for name in found if name.split(".")[0] == "xover"]


def test_there_is_something_to_walk():
    assert len(MODULES) > 50
    assert {layer_of(p) for p in MODULES} == {*LAYERS, "__init__"}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_import_upward(path):
    if layer_of(path) == "__init__":
        return
    own = LAYERS.index(layer_of(path))
    for name in imports_of(path):
        parts = name.split(".")
        if len(parts) > 1:
            assert LAYERS.index(parts[1]) <= own, f"{path.name} imports {name}"


def test_nothing_below_cli_prints_and_nothing_below_drawing_plots():
    for path in MODULES:
        if layer_of(path) == "cli":
            continue
        for node in nodes_of(path):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in {"print", "eval", "exec", "compile", "__import__"}, path
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            if layer_of(path) != "drawing":
                assert not any(n.split(".")[0] in {"matplotlib", "typer", "rich"} for n in names), path


def test_heavy_libraries_are_loaded_only_where_used():
    code = (
        "import sys; from xover.cli.main import main; "
        "status = main(['predict', 'examples/studio-three-way', '--json']); "
        "heavy = {'matplotlib', 'sympy', 'lcapy', 'scipy'} & set(sys.modules); "
        "print(sorted(heavy), file=sys.stderr); sys.exit(status or bool(heavy))"
    )
    root = PACKAGE.parent if (PACKAGE.parent / "examples").is_dir() else Path.cwd()
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=root, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("{")


def test_files_stay_small():
    for path in MODULES:
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 500, f"{path} has {lines} lines: one idea each"


def test_help_loads_no_study():
    """No command waits for what another one needs."""
    loaded = "import sys; import xover.cli.main; print([m for m in sys.modules if m.startswith('xover.studies.')])"
    done = subprocess.run([sys.executable, "-c", loaded], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
