"""No module needs itself: imports make no circle, neither on loading nor inside functions."""

import ast
import sys
from pathlib import Path

import xover

PACKAGE = Path(xover.__file__).parent


def module_of(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def for_types_only(node):
    test = node.test if isinstance(node, ast.If) else None
    name = test.id if isinstance(test, ast.Name) else test.attr if isinstance(test, ast.Attribute) else ""
    return name == "TYPE_CHECKING"


def imported(node, known):
    """Modules of the package that a piece of code imports, wherever it does; a name from a module is that module."""
    if for_types_only(node):
        for other in node.orelse:
            yield from imported(other, known)
        return
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names if alias.name in known)
    elif isinstance(node, ast.ImportFrom) and node.module in known:
        for alias in node.names:
            inner = f"{node.module}.{alias.name}"
            yield inner if inner in known else node.module
    for child in ast.iter_child_nodes(node):
        yield from imported(child, known)


def read(paths):
    trees = {module_of(path): ast.parse(path.read_text(encoding="utf-8")) for path in paths}
    return {name: set(imported(tree, trees)) - {name} for name, tree in trees.items()}


def with_packages(graph):
    """To load a module is to load the packages that it lies in, but for those that are loading it already."""
    found = {}
    for name, needs in graph.items():
        packages = {".".join(n.split(".")[:i]) for n in needs for i in range(1, n.count(".") + 1)} & graph.keys()
        found[name] = needs | {p for p in packages if not f"{name}.".startswith(f"{p}.")}
    return found


def circles(graph):
    """Sets of modules each of which needs all the others (Tarjan 1972), of two or more."""
    number, low, waiting, found = {}, {}, [], []

    def visit(name):
        number[name] = low[name] = len(number)
        waiting.append(name)
        for needed in sorted(graph[name]):
            if needed not in number:
                visit(needed)
            if needed in waiting:
                low[name] = min(low[name], low[needed])
        if low[name] == number[name]:
            at = waiting.index(name)
            if len(waiting) - at > 1:
                found.append(sorted(waiting[at:]))
            del waiting[at:]

    for name in sorted(graph):
        if name not in number:
            visit(name)
    return found


def test_no_circle():
    limit = sys.getrecursionlimit()
    sys.setrecursionlimit(10_000)
    try:
        graph = with_packages(read(sorted(PACKAGE.rglob("*.py"))))
        assert sum(map(len, graph.values())) > 1000
        assert circles(graph) == []
    finally:
        sys.setrecursionlimit(limit)


def test_a_circle_is_seen():
    here = "from xover.b import x\ndef f():\n    from xover.c import y\n"
    there = (
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from xover.a import z\nelse:\n    import xover.d\n"
    )
    known = dict.fromkeys(("xover.a", "xover.b", "xover.c", "xover.d"))
    assert set(imported(ast.parse(here), known)) == {"xover.b", "xover.c"}
    assert set(imported(ast.parse(there), known)) == {"xover.d"}
    one_way = {"a": {"b", "c"}, "b": {"c"}, "c": set(), "p": {"p.x"}, "p.x": {"p.y"}, "p.y": set()}
    assert circles(with_packages(one_way)) == []
    assert circles(one_way | {"c": {"a"}}) == [["a", "b", "c"]]
    # A package that loads its own module is no circle; a module of it that asks the package for a name is one.
    assert circles(with_packages(one_way | {"p.y": {"p"}})) == [["p", "p.x", "p.y"]]
    # Nor may a module of another package need one of this package that needs it again.
    assert circles(with_packages(one_way | {"p.y": {"q.x"}, "q": set(), "q.x": {"p.x"}})) != []
