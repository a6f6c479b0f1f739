"""No pattern of the project's grows with more than the length of what it reads.

Each is tried by a matcher that counts its steps (no clock) on runs of its own signs and of others, once and twice as
long and four times. A pattern that backtracks takes four times the steps each time, or more; a sound one twice.
"""

from __future__ import annotations

import ast
import math
import re
import sys
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from itertools import pairwise
from pathlib import Path

import pytest
from invented.matcher import Matcher, TooManyStepsError, samples

import xover

PACKAGE = Path(xover.__file__).parent
ANCHORED = {"match", "fullmatch"}
METHODS = {*ANCHORED, "search", "sub", "split", "findall", "finditer"}
OF_OURS = {"studies/__init__.py", "bench/readings.py"}
"""They read our own words, never a file or an option."""
SHORT, RATIO, SPARE = 12, 2.6, 60


@cache
def patterns() -> dict[str, tuple[re.Pattern[str], bool]]:
    """Every pattern by its place: the pattern, and whether it is only ever tried at one place of a text."""
    found: dict[str, tuple[re.Pattern[str], bool]] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        text = path.read_text(encoding="utf-8")
        if "re." not in text or name in OF_OURS:
            continue
        tree = ast.parse(text)
        used = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and node.attr in METHODS:
                base = node.value.value if isinstance(node.value, ast.Subscript) else node.value
                if isinstance(base, ast.Name):
                    used.setdefault(base.id, set()).add(node.attr)
        for node in ast.walk(tree):
            call = _called(node)
            if call is None:
                continue
            module = import_module("xover." + name.removesuffix(".py").removesuffix("/__init__").replace("/", "."))
            pattern = _evaluated(call, vars(module))
            method = call.func.attr if isinstance(call.func, ast.Attribute) else ""
            methods = {method} if method != "compile" else used.get(_assigned(tree, call), {"search"})
            found[f"{name}:{call.lineno}:{call.col_offset}"] = pattern, methods <= ANCHORED
    return found


def _called(node: ast.AST) -> ast.Call | None:
    if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
        return None
    of = node.func.value
    ours = isinstance(of, ast.Name) and of.id == "re" and node.func.attr in {*METHODS, "compile"}
    return node if ours else None


def _evaluated(call: ast.Call, names: dict[str, object]) -> re.Pattern[str]:
    """The pattern of a call, made of what its module holds; NameError where it is made of anything else."""
    first = ast.Expression(call.args[0])
    flags = next((k.value for k in call.keywords if k.arg == "flags"), None)
    place = 1 if isinstance(call.func, ast.Attribute) and call.func.attr == "compile" else 2
    flags = call.args[place] if flags is None and len(call.args) > place and _is_flag(call.args[place]) else flags
    scope = {"re": re, **names}
    made = eval(compile(ast.fix_missing_locations(first), "pattern", "eval"), scope)
    said = 0 if flags is None else eval(compile(ast.Expression(flags), "flags", "eval"), scope)
    return re.compile(made, said)


def _is_flag(node: ast.AST) -> bool:
    return ast.unparse(node).startswith("re.") and not any(isinstance(n, ast.Call) for n in ast.walk(node))


def _assigned(tree: ast.AST, call: ast.Call) -> str:
    """The name that holds a compiled pattern, or the table of them."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign | ast.AnnAssign) and any(inner is call for inner in ast.walk(node)):
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            return target.id if isinstance(target, ast.Name) else ""
    return ""


def attacks(matcher: Matcher) -> Iterator[tuple[str, str, str]]:
    """What stands before a run, what is repeated, what stands behind."""
    whole = samples(matcher.tree)
    signs = sorted({sign for sample in whole for sign in sample})
    runs = dict.fromkeys([*signs[:9], *(s for s in whole[:4] if 1 < len(s) < 12), *" 0a.", " 0", "a "])
    befores = dict.fromkeys(["", whole[0][:-1], whole[0], whole[-1][: len(whole[-1]) // 2 + 1]])
    for before in befores:
        for run in runs:
            for behind in ("", "\x00"):
                yield before, run, behind


def steps(matcher: Matcher, text: str, anchored: bool) -> float:
    matcher.steps = 0
    try:
        if anchored:
            matcher.match(text, whole=True)
        else:
            matcher.search(text)
    except TooManyStepsError:
        return math.inf
    return matcher.steps


def worst(pattern: re.Pattern[str], anchored: bool) -> tuple[float, str]:
    """The largest growth that holds from a run to one of twice the length, and again from there; and of which run."""
    sys.setrecursionlimit(max(sys.getrecursionlimit(), 20_000))
    matcher, found = Matcher(pattern), (0.0, "")
    if not matcher.has_no_end:
        return found
    for before, run, behind in attacks(matcher):
        long = SHORT // len(run) + 1
        counts = [steps(matcher, before + run * n + behind, anchored) for n in (long, 2 * long, 4 * long)]
        growth = min(more / less if math.isfinite(less) else math.inf for less, more in pairwise(counts))
        if counts[-1] > SPARE:
            found = max(found, (growth, f"{before!r} {run!r} {behind!r}: {counts}"))
    return found


def test_patterns_are_found() -> None:
    found = patterns()
    assert len(found) > 50
    assert {place.split(":")[0] for place in found} >= {
        *(
            f"files/{name}.py"
            for name in ("netlist", "toml_lines", "touchstone", "table_lines", "table_header", "stock")
        ),
        *("quantity.py", "units.py", "errors.py"),
    }


@pytest.mark.parametrize("place", patterns())
def test_no_pattern_backtracks(place: str) -> None:
    pattern, anchored = patterns()[place]
    growth, attack = worst(pattern, anchored)
    assert growth <= RATIO, f"{pattern.pattern}: {attack}"


@pytest.mark.parametrize(
    ("pattern", "anchored"),
    [
        (r"\s*=\s*", False),
        (r"[0-9]+[.,]?[0-9]*", True),
        (r"([^@]+)@([^,@]+)(?:,|$)", False),
        (r"(?:^|\s+)([A-Za-z_]\w*)=", False),
        (r"\s*([^:]+?)\s*(?:\.\.|:|-)\s*([^:]+?)\s*", True),
        (r"(?:[ab]+)*c", True),
        (r".*[\d.,\s]", False),
    ],
)
def test_those_that_backtrack_are_noticed(pattern: str, anchored: bool) -> None:
    assert worst(re.compile(pattern), anchored)[0] > RATIO


@pytest.mark.parametrize("place", patterns())
def test_the_matcher_finds_what_python_finds(place: str) -> None:
    pattern, _ = patterns()[place]
    matcher = Matcher(pattern)
    for before, run, behind in attacks(matcher):
        matcher.steps, text = 0, before + run * 3 + behind
        assert matcher.search(text) == [m.span() for m in pattern.finditer(text)], text
        whole = pattern.fullmatch(text)
        assert (matcher.match(text, whole=True) is None) is (whole is None), text
