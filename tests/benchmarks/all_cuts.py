"""Every command over every cut of every sweep of the examples, counted by outcome.

`python tests/benchmarks/all_cuts.py [--examples left studio] [--commands predict ...] [--files woofer-impedance ...]
[--cuts "from 200" ...] [--minutes 30] [--show 3] [--silent]`; all together take two hours of a core.

Each command runs in-process on a copy of the folder in which one file, or both of one driver, is cut to a band. A cut
answer is held against that of the whole folder: where it differs and has no word of what is missing, `--silent` lists
it for a person to read. Time is that of the processor, so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

EXAMPLES = Path(__file__).parents[2] / "examples"
FOLDERS = {"left": "attic-two-way/left", "right": "attic-two-way/right", "hall": "hall-horn-two-way"}
FOLDERS["studio"] = "studio-three-way"
CROSSOVERS = {"left": "2.7k", "right": "2.7k", "hall": "1.2k", "studio": "450,3.5k"}
CUTS = {
    "from 20": ((20, 1e9),),
    "from 200": ((200, 1e9),),
    "from 500": ((500, 1e9),),
    "from 1k": ((1000, 1e9),),
    "up to 200": ((0, 200),),
    "up to 500": ((0, 500),),
    "up to 2k": ((0, 2000),),
    "up to 10k": ((0, 10e3),),
    "200 to 2k": ((200, 2000),),
    "hole 500 to 4k": ((0, 500), (4000, 1e9)),
    "one octave": ((1000, 2000),),
    "four rows": ((100, 101), (1000, 1010), (3000, 3030), (9000, 9100)),
}
"""Bands of which the rows are kept."""
OFTEN = ("up to 500", "from 500", "one octave", "hole 500 to 4k")
"""Told as JSON too; the first two drawn."""
JSON, PLOT = "--json", "--plot"
CPU_LIMIT_S = 10.0
MISSING = re.compile(
    r"not known|unknown|known (only )?(up to|from|for)|is known|a guess|not swept|not seen|no (sweep|measure)|measure |"
    r"sweep (the|it)|not told|cannot be|does not reach|do not reach|reaches|not judged|not be told|no data|beyond|"
    r"too (few|short|little)|ends at|begins at|starts at|not covered|\bhole|nothing is said|is left open|\bgap",
    re.IGNORECASE,
)

FAULTS = ("status 3", "Python warning", "over 10 s", "JSON with NaN", "page with nan")


class OverTime(BaseException):
    """The processor's time is used up."""


@dataclass(frozen=True)
class Done:
    outcome: str
    command: str
    cut: str
    detail: str
    seconds: float


def commands(example: str, folder: Path) -> dict[str, list[str]]:
    """What is typed, of each command, the cheap ones first."""
    f = str(folder)
    terminals = str(next(folder.glob("terminals-found.*")))
    whole = folder / "whole-found.csv"
    heard = ["--response", str(whole)] if whole.exists() else []
    found = {
        "check": ["check", f],
        "predict": ["predict", f],
        "predict all": ["predict", f, "--all"],
        "load": ["load", f],
        "schematic": ["schematic", f, "-o", str(folder / "drawn.svg"), "--force"],
        "angles": ["angles", f],
        "sensitivity": ["sensitivity", f],
        "condition": ["condition", f],
        "stress": ["stress", f],
        "lamps": ["lamps", f],
        "compare": ["compare", f"{f}:found", f"{f}:original"],
        "compare impedance": ["compare", f"{f}:found", f"{f}:original", "--quantity", "impedance"],
        "spice": ["spice", f],
        "formula": ["formula", f, "--numbers"],
        "crosstalk": ["crosstalk", f],
        "refresh": ["refresh", f],
        "tolerance": ["tolerance", f, "--builds", "100"],
        "bypass": ["bypass", f],
        "infer": ["infer", f, "--impedance", terminals],
        "verify": ["verify", f, "--impedance", terminals],
        "decide": ["decide", f],
        "decide stock": ["decide", f, "--stock", str(EXAMPLES / "stock.csv")],
        "redesign": ["redesign", f, "--circuit", "present", "--starts", "1", "--crossover", CROSSOVERS[example]],
        "redesign free": ["redesign", f, "--circuit", "present", "--starts", "1"],
        "report": ["report", f, "-o", str(folder / "page.html"), "--force", "--processes", "1"],
    }
    if heard:
        found["verify heard"] = ["verify", f, "--impedance", terminals, *heard]
        found["delay"] = ["delay", f, "--finished", str(whole)]
    if example in ("left", "right"):
        mate = str(folder.parent / ("right" if example == "left" else "left"))
        found["compare pair"] = ["compare", f, mate]
        found["check pair"] = ["check", f, "--mate", mate]
        against = str(next(Path(mate).glob("terminals-found.*")))
        found["verify pair"] = ["verify", f, "--impedance", terminals, "--against", against]
    return found


PLOTTED = {
    "predict",
    "load",
    "condition",
    "stress",
    "bypass",
    "decide",
    "sensitivity",
    "tolerance",
    "refresh",
    "angles",
}
NO_JSON = {"report", "predict all", "schematic", "check pair"}
OF_TERMINALS = {"infer", "verify", "verify heard", "verify pair"}


def files_of(example: str) -> dict[str, tuple[str, ...]]:
    """What is cut: each driver's impedance, its response, both; and the sweep at the terminals."""
    folder = EXAMPLES / FOLDERS[example]
    found: dict[str, tuple[str, ...]] = {}
    for path in sorted(folder.glob("*-impedance.*")):
        driver = path.stem.removesuffix("-impedance")
        response = next(folder.glob(f"{driver}-response.*")).name
        found[path.stem] = (path.name,)
        found[f"{driver}-response"] = (response,)
        found[driver] = (path.name, response)
    for path in (*folder.glob("terminals-found.*"), *folder.glob("whole-found.*")):
        found[path.stem] = (path.name,)
    return found


def cut(path: Path, bands: Sequence[tuple[float, float]]) -> None:
    """Leave out the rows outside the bands; heads and comments stay."""
    kept = []
    for line in path.read_text(encoding="utf-8").splitlines():
        first = re.match(r"\s*([\d.,]+)", line.split(";")[0] if ";" in line else re.split(r"[,\s]", line.strip())[0])
        f = None if first is None else float(first[1].replace(",", "."))
        if f is None or any(low <= f <= high for low, high in bands):
            kept.append(line)
    path.write_text("\n".join(kept) + "\n", encoding="utf-8")


@dataclass(frozen=True)
class Ran:
    """Status (None: out of time), output, errors, seconds of the processor, and the stack of what broke."""

    status: int | None
    out: str
    err: str
    seconds: float
    stack: str


def told(arguments: list[str]) -> Ran:
    """Run one command."""
    import typer.main

    import xover.cli.main as cli

    if not hasattr(cli.app, "main"):
        cli.app = typer.main.get_command(cli.app)  # built once, not at each call

    signal.signal(signal.SIGPROF, _out_of_time)
    out, err, stack = io.StringIO(), io.StringIO(), ""
    begun = time.process_time()
    status: int | None
    with warnings.catch_warnings(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        warnings.simplefilter("always")  # the command line tells each that escapes as a fault of its own
        signal.setitimer(signal.ITIMER_PROF, CPU_LIMIT_S)
        try:
            status = cli.main(arguments)
        except OverTime:
            status = None
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        seconds = time.process_time() - begun
        if status == 3:
            os.environ["XOVER_DEBUG"] = "1"
            try:
                cli.main(arguments)
            except Exception as error:
                frames = [f for f in traceback.extract_tb(error.__traceback__) if "xover" in f.filename]
                stack = " < ".join(f"{Path(f.filename).name}:{f.lineno}" for f in reversed(frames[-4:]))
            finally:
                del os.environ["XOVER_DEBUG"]
    return Ran(status, out.getvalue(), err.getvalue(), seconds, stack)


def _out_of_time(*_: Any) -> None:
    raise OverTime


def plain(text: str, base: Path) -> str:
    return text.replace(str(base), "")


def outcome(got: Ran, whole: str, base: Path, as_json: bool) -> tuple[str, str]:
    """One of the outcomes, and what a person wants to see of it."""
    err = plain(got.err.strip(), base)
    if got.status is None:
        return "over 10 s", ""
    if got.status == 3:
        return "status 3", f"{got.stack} {err}"
    if "a fault of xover" in err:
        return "Python warning", next(line for line in err.splitlines() if "a fault of xover" in line)
    if got.status in (1, 2):
        return f"status {got.status}", err
    if as_json:
        return ("JSON with NaN" if re.search(r"\b(NaN|Infinity)\b", got.out) else "answer in JSON"), ""
    text = re.sub(r"Figure written to .*\n", "", plain(got.out + got.err, base))
    if text == whole:
        return "answer as of the whole", ""
    news = "\n".join(line for line in text.splitlines() if line not in set(whole.splitlines()))
    if MISSING.search(" ".join(news.split())):
        return "answer, says what is missing", ""
    return "answer, no word of it", news


@dataclass(frozen=True)
class Share:
    example: str
    file: str
    cut: str
    wanted: tuple[str, ...]
    page: bool


def run_share(share: Share) -> list[Done]:
    """All commands over one cut; the whole folder's answers are worked out once a process."""
    done = []
    with tempfile.TemporaryDirectory() as scratch:
        base = Path(scratch) / FOLDERS[share.example].split("/")[0]
        shutil.copytree(EXAMPLES / FOLDERS[share.example].split("/")[0], base)
        folder = Path(scratch) / FOLDERS[share.example]
        for name in files_of(share.example)[share.file]:
            cut(folder / name, CUTS[share.cut])
        where = f"{share.example} {share.file} {share.cut}"
        for name, arguments in commands(share.example, folder).items():
            if not wanted(share, name):
                continue
            for extra in ways(name, share):
                as_json = JSON in extra
                typed = [*arguments, *(str(folder / e) if e.endswith(".svg") else e for e in extra)]
                got = told(typed)
                whole = "" if as_json else _whole(share.example, name)
                what, detail = outcome(got, whole, Path(scratch), as_json)
                if name == "report" and what.startswith("answer"):
                    page = (folder / "page.html").read_text(encoding="utf-8")
                    if re.search(
                        r"\bNaN\b|\bnan\b|\binf\b", re.sub(r"<(svg|script|style).*?</\1>", "", page, flags=re.S)
                    ):
                        what = "page with nan"
                done.append(Done(what, name + "".join(f" {e}" for e in extra[:1]), where, detail, got.seconds))
    return done


def wanted(share: Share, name: str) -> bool:
    if share.wanted and name not in share.wanted and name.split()[0] not in share.wanted:
        return False
    if share.file.startswith("terminals"):
        return name in OF_TERMINALS
    if share.file.startswith("whole"):
        return name in ("verify heard", "delay")
    return share.page or name != "report"


def ways(name: str, share: Share) -> Iterator[list[str]]:
    yield []
    if name not in NO_JSON and share.cut in OFTEN:
        yield [JSON]
    if name in PLOTTED and share.cut in OFTEN[:2]:
        yield [PLOT, f"{name}.svg"]


_WHOLE: dict[tuple[str, str], str] = {}


def _whole(example: str, name: str) -> str:
    """The answer of the folder as it is."""
    if (example, name) not in _WHOLE:
        with tempfile.TemporaryDirectory() as scratch:
            top = FOLDERS[example].split("/")[0]
            shutil.copytree(EXAMPLES / top, Path(scratch) / top)
            got = told(commands(example, Path(scratch) / FOLDERS[example])[name])
            _WHOLE[example, name] = plain(got.out + got.err, Path(scratch))
    return _WHOLE[example, name]


def _batches(shares: list[Share], processes: int, until: float) -> Iterator[list[Share]]:
    """A few at a time, as long as there is time."""
    for start in range(0, len(shares), 2 * processes):
        if time.monotonic() > until:
            return
        yield shares[start : start + 2 * processes]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--examples", nargs="*", default=list(FOLDERS), choices=list(FOLDERS))
    parser.add_argument("--commands", nargs="*", default=[])
    parser.add_argument("--files", nargs="*", default=[])
    parser.add_argument("--cuts", nargs="*", default=list(CUTS), choices=list(CUTS))
    parser.add_argument("--no-page", action="store_true", help="leave out report, which takes the longest")
    parser.add_argument("--minutes", type=float, default=600.0, help="stop then, and say how much was not counted")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--show", type=int, default=2, help="cases to name of each fault")
    parser.add_argument("--silent", action="store_true", help="print the answers that differ without a word of why")
    given = parser.parse_args()
    shares = [
        Share(example, file, name, tuple(given.commands), not given.no_page)
        for example in given.examples
        for file in files_of(example)
        if not given.files or file in given.files
        for name in given.cuts
    ]
    random.Random(1).shuffle(shares)  # so that a part of them, where time ends, is a fair sample
    until, done = time.monotonic() + 60.0 * given.minutes, 0
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    stories: dict[tuple[str, str], list[Done]] = defaultdict(list)
    slowest: list[tuple[float, str]] = []
    with ProcessPoolExecutor(given.processes, get_context("fork"), os.nice, (2,)) as pool:
        for results in (r for some in _batches(shares, given.processes, until) for r in pool.map(run_share, some)):
            done += 1
            for d in results:
                if d.outcome in FAULTS:
                    print(f"{d.outcome}: {d.command} [{d.cut}] {d.detail}", file=sys.stderr, flush=True)
                counts[d.command][d.outcome] += 1
                slowest = sorted([*slowest, (d.seconds, f"{d.command}: {d.cut}")], reverse=True)[:5]
                if d.detail:
                    stories[d.outcome, re.sub(r"\d[\d.,]*( k?Hz)?", "#", d.detail.splitlines()[0])].append(d)
    total: Counter[str] = sum(counts.values(), Counter())
    print(f"{done} of {len(shares)} files and cuts, drawn at random; the others were not counted")
    for command, count in sorted(counts.items()):
        print(f"{command:24} " + ", ".join(f"{n} {what}" for what, n in count.most_common()))
    print(f"{'all':24} {sum(total.values())} runs: " + ", ".join(f"{n} {what}" for what, n in total.most_common()))
    print("slowest: " + "; ".join(f"{s:.1f} s {what}" for s, what in slowest))
    for (what, _), cases in sorted(stories.items(), key=lambda s: (s[0][0], -len(s[1]))):
        if what == "answer, no word of it" and not given.silent:
            continue
        print(f"\n{what}, {len(cases)} times: " + "; ".join(f"{c.command} [{c.cut}]" for c in cases[: given.show]))
        print("    " + cases[0].detail.replace("\n", "\n    "))


if __name__ == "__main__":
    main()
