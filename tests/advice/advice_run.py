"""Ask decide as a user does, in process, and keep both of its faces."""

from __future__ import annotations

import io
import json
import shutil
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any, NoReturn

import pytest
from demands import Told

from xover.cli.main import main
from xover.studies.change.decide import study

ROOT = Path(__file__).parents[2]
STOCK = ROOT / "examples" / "stock.csv"


def command(*arguments: object) -> str:
    """What a command printed. Fails where it refused or warned of a fault of its own."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = main([str(a) for a in arguments])
    assert status == 0, f"exit status {status}: {err.getvalue()}{out.getvalue()}"
    return out.getvalue()


def _no_constant(word: str) -> NoReturn:
    raise AssertionError(f"{word} stands in the JSON")


_TOLD: dict[object, Told] = {}


def advise(folder: Path, *options: str) -> Told:
    """The JSON of decide and its text, as asked beside the folder; the study is worked out once, and shown twice.

    An answer is kept by what the folder and its neighbours hold: nothing that is printed depends on where they lie.
    """
    stock = stock_beside(folder)
    held = sorted((str(p.relative_to(folder.parent)), p.read_bytes()) for p in folder.parent.rglob("*") if p.is_file())
    key = (folder.name, options, tuple(held))
    if key not in _TOLD:
        _TOLD[key] = _advise(folder, stock, options)
    return _TOLD[key]


def _advise(folder: Path, stock: str, options: tuple[str, ...]) -> Told:
    asked = ["decide", folder.name, "--stock", stock, *options]
    kept: list[Any] = []
    work_out = study.study_decide

    def once(*given: Any, **named: Any) -> Any:
        if not kept:
            kept.append(work_out(*given, **named))
        return kept[0]

    with pytest.MonkeyPatch.context() as patch, chdir(folder.parent):
        patch.setattr(study, "study_decide", once)
        answer = json.loads(command(*asked, "--json"), parse_constant=_no_constant)
        text = command(*asked)
    assert len(kept) == 1
    return Told(answer, text)


def stock_beside(folder: Path) -> str:
    """The invented list of parts, put beside the folder; its name from there."""
    shutil.copy(STOCK, folder.parent / STOCK.name)
    return STOCK.name
