"""No logic rests on English: verdicts, faults and findings are values, and words are made of them last.

A module that searches or compares the words of a sentence breaks when the sentence is reworded. What reads text by
trade is left out: files, quantities, options, and the renderers that wrap and escape.
"""

import ast
from pathlib import Path

import pytest

import xover

PACKAGE = Path(xover.__file__).parent
READS_TEXT_BY_TRADE = {"files", "cli", "quantity.py", "units.py", "errors.py", "readable.py", "declare.py", "api"}
SENTENCES = {
    "answer",
    "caption",
    "caution",
    "finding",
    "headline",
    "note",
    "reason",
    "remark",
    "remedy",
    "said",
    "sentence",
    "text",
    "verdict",
    "warning",
    "what",
    "words",
}
"""Names, and last words of names, that hold a sentence or a part of one."""
SEARCHES = {
    "count",
    "endswith",
    "find",
    "index",
    "partition",
    "removeprefix",
    "removesuffix",
    "replace",
    "rfind",
    "rpartition",
    "split",
    "startswith",
}


def _holds_a_sentence(node: ast.expr) -> bool:
    """An attribute or a name that is called as sentences are; an item of it; the text of it."""
    if isinstance(node, ast.Subscript | ast.Starred):
        return _holds_a_sentence(node.value)
    if isinstance(node, ast.Call):
        inner = node.func.value if isinstance(node.func, ast.Attribute) else None
        return inner is not None and node.func.attr in {"lower", "strip", "casefold"} and _holds_a_sentence(inner)
    name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
    return name.rpartition("_")[2].removesuffix("s") in {s.removesuffix("s") for s in SENTENCES}


def _letters(node: ast.expr) -> bool:
    """A constant that holds a word: signs and single letters are no words."""
    return isinstance(node, ast.Constant) and isinstance(node.value, str) and sum(c.isalpha() for c in node.value) > 1


def searches_of_words(source: str) -> list[tuple[int, str]]:
    """(line, code) of every place that searches a sentence, or compares it with words."""
    found = []
    for node in ast.walk(ast.parse(source)):
        bad = False
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            for op, left, right in zip(node.ops, sides, sides[1:], strict=False):
                if isinstance(op, ast.In | ast.NotIn):
                    bad |= _letters(left) and _holds_a_sentence(right)
                elif isinstance(op, ast.Eq | ast.NotEq):
                    bad |= (_letters(left) and _holds_a_sentence(right)) or (
                        _letters(right) and _holds_a_sentence(left)
                    )
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in SEARCHES:
            words = any(_letters(a) or isinstance(a, ast.JoinedStr) for a in node.args)
            bad = words and _holds_a_sentence(node.func.value)
        if bad:
            found.append((node.lineno, ast.unparse(node)))
    return found


MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p.relative_to(PACKAGE).parts[0] not in READS_TEXT_BY_TRADE)


def test_there_is_something_to_walk():
    assert len(MODULES) > 150


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_logic_looks_into_a_sentence(path):
    assert searches_of_words(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "code",
    [
        "if 'share their minus' in finding.text: pass",
        "said = [n for n in notes if 'response' not in n.words]",
        "text = check.sentence.partition('reads ')[2]",
        "if study.headline.startswith('leave it'): pass",
        "if option.verdict == 'not known': pass",
        "short = choice.words.removeprefix(f'{part} ')",
        "if 'lossy' in words: pass",
        "if 'open' in part.reason.lower(): pass",
    ],
)
def test_such_a_place_is_found(code):
    assert len(searches_of_words(code)) == 1


@pytest.mark.parametrize(
    "code",
    [
        "if part.kind is Kind.PAPER: pass",
        "if 'found' in speaker.network_names: pass",
        "if network_name == 'found': pass",
        "words = ', '.join(said)",
        "if key in words: pass",
        "head, _, tail = path.partition('.')",
    ],
)
def test_what_is_no_search_is_let_pass(code):
    assert searches_of_words(code) == []
