"""Records what a user sees of every command on the examples, so that a rebuilt house can be held to the old one.

    python tests/house/freeze.py record OUT_DIR [--only predict,load] [--jobs 2]
    python tests/house/freeze.py compare OLD_DIR NEW_DIR [--only predict,load] [--rtol 1e-9]

Run it in the root of the tree to be recorded, or with that on PYTHONPATH: it calls `xover.cli.main.main` and nothing
else, one forked child a run, each in a folder of its own that holds a copy of `examples/` and a few made files. A run
gives one text (arguments, status, both streams, the files that it wrote) and, where standard output is JSON, the
parsed data beside it. `compare` shows each difference and ends with status 1 if there is any. What is recorded is for
one machine and one day: it is never committed. Pytest does not collect this file.
"""

from __future__ import annotations

import argparse
import difflib
import gc
import json
import math
import os
import pkgutil
import re
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

from freeze_runs import Run, runs
from freeze_wrong import LEFT

LONGEST_S = 900
RENAMED = {
    ("refresh", "--tolerance"): "--within",
    ("jig", "--reference"): "--resistor",
    ("tolerance", "--match"): "--paired-to",
    ("infer", "--gain"): "--gain-error",
    ("compare", "--of"): "--quantity",
    ("refresh", "--replace"): "--renew",
}
"""Options that meant two things: in a tree that declares its questions they are asked by their new name."""


def furnish(place: Path, root: Path) -> None:
    """A folder to run in: the examples, and files made from formulas."""
    shutil.copytree(root / "examples", place / "examples", ignore=shutil.ignore_patterns("*.png", "__pycache__"))
    made = place / "made"
    made.mkdir()
    hertz = [20 * 2 ** (k / 6) for k in range(60)]

    def table(name: str, gain: complex | None = None, across: bool = False) -> None:
        rows = ["Hz,dB,deg"]
        for f in hertz:
            z = 6.0 + 2j * math.pi * f * 3e-4 + 30 / (1 + 4j * (f / 60 - 60 / f))
            h = gain if gain is not None else (10 if across else z) / (z + 10)
            h *= 1.01 * complex(math.cos(f * 1e-6), -math.sin(f * 1e-6))
            rows.append(f"{f:.9g},{20 * math.log10(abs(h)):.9f},{math.degrees(math.atan2(h.imag, h.real)):.9f}")
        (made / name).write_text("\n".join(rows) + "\n")

    table("ratio.csv")
    table("across.csv", across=True)
    table("both.csv", 1.0)
    table("known.csv", 22.1 / 32.1)
    (made / "plot.svg").write_text("mine\n")
    (made / "short.csv").write_text("Hz,ohm,deg\n100,8,0\n")
    (made / "words.csv").write_text("Hz,ohm,deg\nlow,much,some\n100,8,0\n200,x,0\n")
    (made / "stock.csv").write_text("kind,value,price\nfilm,4.7uF,cheap\nlamp,3,2\n")
    (made / "nothing").mkdir()
    for name in ("broken", "unread", "netless", "started", "bridged", "twisted", "lamp"):
        (made / name).mkdir()
        text = (place / LEFT / "speaker.toml").read_text().replace("../original.cir", "found.cir")
        circuit = (place / LEFT / "found.cir").read_text()
        for file in (place / LEFT).glob("*-*.csv"):
            shutil.copy(file, made / name)
        if name == "broken":
            text = text.replace("timing =", "timing")
        if name == "unread":
            text = text.replace("woofer-impedance.csv", "nosuch.csv")
        if name == "bridged":
            text = text.replace("rated_load_ohm = 8", "rated_load_ohm = 8\nbridged = true")
        if name == "netless":
            circuit = "* nothing but a title\nC1 in\n"
        if name == "twisted":
            circuit = re.sub(r"\bin\b", "inn", circuit, count=1)
        if name == "started":  # what `xover new` leaves: values of a datasheet, nothing measured
            text = 'title = "Started"\n[drivers.woofer]\nre_ohm = 5.8\n[drivers.tweeter]\nre_ohm = 5.1\n'
            text += '[networks.found]\ncircuit = "found.cir"\n'
        if name == "lamp":
            circuit = "* With a lamp, invented\nC1 in m 4.7uF\nR1 m t 1.5 kind=lamp cold=1 hot=10 watts=5\n"
            circuit += "L1 in w 0.5mH dcr=0.3\nXlow w 0 woofer\nXhigh t 0 tweeter\n"
        (made / name / "speaker.toml").write_text(text)
        (made / name / "found.cir").write_text(circuit)


def child(run: Run, place: Path) -> int:
    """What the forked child does: the streams into files, then the command."""
    for number, name in ((1, "stdout"), (2, "stderr")):
        file = os.open(place.parent / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, number)
    sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 (as long as the child lives)
    sys.stdout, sys.stderr = (open(n, "w", encoding="utf-8", closefd=False) for n in (1, 2))  # noqa: SIM115
    signal.alarm(LONGEST_S)
    os.chdir(place)
    from xover.cli.main import main

    new = find_spec("xover.declare") is not None
    arguments = [RENAMED.get((run.family, a), a) if new else a for a in run.arguments]
    if run.family == "complete":
        os.environ.update(dict(run.environment), _XOVER_COMPLETE="complete_bash")
        arguments = []
    sys.argv = ["xover", *arguments]
    try:
        status = main(arguments)
    except SystemExit as stop:
        status = stop.code if isinstance(stop.code, int) else 99
    sys.stdout.flush()
    sys.stderr.flush()
    return status


def masked(text: str, place: Path) -> str:
    """Without what differs from run to run: the folder, times taken, and dates."""
    text = text.replace(str(place.resolve()), "PLACE").replace(str(place), "PLACE")
    text = re.sub(r"\b\d+(\.\d+)? (s|seconds|minutes)\b(?= (of|for) )", "TIME s", text)
    return re.sub(r"\b20\d\d-\d\d-\d\d(T[\d:.+Z-]+)?", "DATE", text)


def written(path: Path, place: Path) -> str:
    """A written file as text that can be held against another."""
    data = path.read_bytes()
    if path.suffix in (".png", ".pdf"):
        return f"({path.suffix} of more than nothing)" if data else "(empty)"
    text = masked(data.decode("utf-8", "replace"), place)
    if path.suffix == ".svg" and 'id="figure_1"' in text:
        return "\n".join(svg_words(text))
    if path.suffix == ".html":
        text = re.sub(r"<svg\b.*?</svg>", "SVG", text, flags=re.S)
        text = re.sub(r"<script\b.*?</script>", "SCRIPT", text, flags=re.S)
        text = re.sub(r"<style\b.*?</style>", "STYLE", text, flags=re.S)
        text = re.sub(r"data:[\w/+.-]+;base64,[A-Za-z0-9+/=]+", "DATA", text)
        text = re.sub(r"(<(?:p|li|tr|td|th|h\d|section|div|figure|table|dt|dd|summary|pre)\b)", r"\n\1", text)
    return text


def svg_words(text: str) -> list[str]:
    """What a drawn figure says, and of how many strokes it is made: not where each lies."""
    words = re.findall(r"<text[^>]*>(.*?)</text>", text, re.S)
    return [*words, f"{text.count('<path')} paths, {text.count('<use')} marks"]


def told(run: Run, place: Path, status: int, before: dict[str, tuple[int, int]], out: Path) -> None:
    """Write what a run left: one text, and JSON beside it."""
    streams = [masked((place.parent / n).read_bytes().decode("utf-8", "replace"), place) for n in ("stdout", "stderr")]
    target = out / run.family / run.name
    target.parent.mkdir(parents=True, exist_ok=True)
    words = " ".join((*run.arguments, *(f"{k}={v!r}" for k, v in run.environment)))
    try:
        data = json.loads(streams[0]) if streams[0].lstrip().startswith(("{", "[")) else None
    except ValueError:
        data = None
    if data is not None:
        Path(f"{target}.json").write_text(json.dumps(data, indent=1, sort_keys=True) + "\n")
        streams[0] = "(JSON, beside)\n"
    parts = [
        f"$ xover {words}",
        f"status {status}",
        "--- standard output",
        streams[0],
        "--- standard error",
        streams[1],
    ]
    for name, state in sorted(listed(place).items()):
        if before.get(name) != state:
            parts += [f"--- wrote {name}", written(place / name, place)]
    parts += [f"--- removed {name}" for name in sorted(before.keys() - listed(place).keys())]
    Path(f"{target}.txt").write_text("\n".join(parts) + "\n")


def listed(place: Path) -> dict[str, tuple[int, int]]:
    return {
        str(p.relative_to(place)): (p.stat().st_size, p.stat().st_mtime_ns)
        for p in sorted(place.rglob("*"))
        if p.is_file()
    }


def load_everything() -> None:
    """All of xover and of what it stands on, once for all children."""
    import importlib

    import matplotlib
    import numpy  # noqa: F401

    matplotlib.use("Agg")
    import xover

    for module in pkgutil.walk_packages(xover.__path__, "xover."):
        if "lcapy" not in module.name and not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    import matplotlib.backends.backend_svg
    import scipy.linalg
    import scipy.optimize
    import scipy.signal  # noqa: F401


def record(out: Path, only: set[str], jobs: int) -> int:
    os.environ.update(
        COLUMNS="80", LINES="24", NO_COLOR="1", TERM="dumb", OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1"
    )
    for name in [n for n in os.environ if n.startswith(("XOVER_", "_XOVER", "FORCE_COLOR"))]:
        del os.environ[name]
    root = Path.cwd()
    if not (root / "examples").is_dir():
        print("no examples/ here: run it in the root of the tree", file=sys.stderr)
        return 2
    sys.path.insert(0, str(root))
    load_everything()
    import xover

    wanted = [r for r in runs() if not only or r.family in only]
    names = [(r.family, r.name) for r in wanted]
    if twice := {n for n in names if names.count(n) > 1}:
        print(f"two runs of one name: {sorted(twice)}", file=sys.stderr)
        return 2
    for family in {r.family for r in wanted}:
        shutil.rmtree(out / family, ignore_errors=True)
    print(f"{len(wanted)} runs of {Path(xover.__file__).parent}", file=sys.stderr)
    took: dict[str, float] = {}
    running: dict[int, tuple[Run, Path, dict[str, tuple[int, int]], float]] = {}
    gc.freeze()
    with tempfile.TemporaryDirectory(prefix="freeze-") as folder:
        master = Path(folder) / "master"
        furnish(master, root)
        count = 0
        while wanted or running:
            if wanted and len(running) < jobs:
                run = wanted.pop(0)
                count += 1
                place = Path(folder) / str(count) / "here"
                shutil.copytree(master, place)
                before = listed(place)
                pid = os.fork()
                if not pid:
                    status = 98
                    try:
                        status = child(run, place)
                    finally:
                        os._exit(status)
                running[pid] = (run, place, before, time.monotonic())
                continue
            pid, state = os.wait()
            run, place, before, start = running.pop(pid)
            took[run.family] = took.get(run.family, 0.0) + time.monotonic() - start
            told(run, place, os.waitstatus_to_exitcode(state), before, out)
            shutil.rmtree(place.parent)
    print(", ".join(f"{f} {t:.0f} s" for f, t in sorted(took.items())), file=sys.stderr)
    return 0


def paths(old: object, new: object, at: str, rtol: float) -> Iterator[str]:
    """Where two JSON values differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            if key not in old:
                yield f"{at}.{key}: only new, {short(new[key])}"
            elif key not in new:
                yield f"{at}.{key}: only old, {short(old[key])}"
            else:
                yield from paths(old[key], new[key], f"{at}.{key}", rtol)
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{at}: {len(old)} entries, now {len(new)}"
        for k, (a, b) in enumerate(zip(old, new, strict=False)):
            yield from paths(a, b, f"{at}[{k}]", rtol)
    elif type(old) is not type(new) and not (is_number(old) and is_number(new)):
        yield f"{at}: {short(old)} -> {short(new)}"
    elif old != new:
        if is_number(old) and is_number(new):
            apart = abs(old - new) / max(abs(old), abs(new))
            if apart > rtol:
                yield f"{at}: {old!r} -> {new!r} ({apart:.1e})"
        else:
            yield f"{at}: {short(old)} -> {short(new)}"


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def short(value: object) -> str:
    text = json.dumps(value)
    return text if len(text) < 100 else text[:97] + "..."


def compare(old: Path, new: Path, only: set[str], rtol: float, most: int) -> int:
    def files(root: Path) -> dict[str, Path]:
        found = {str(p.relative_to(root)): p for p in root.rglob("*") if p.suffix in (".txt", ".json")}
        return {n: p for n, p in found.items() if not only or Path(n).parts[0] in only}

    a, b = files(old), files(new)
    families = {Path(n).parts[0] for n in b}  # a record of a few families is held to these only
    a = {n: p for n, p in a.items() if Path(n).parts[0] in families}
    bad = 0
    if not a or not b:
        print("nothing to compare", file=sys.stderr)
        return 2
    for name in sorted(a.keys() | b.keys()):
        if name not in a or name not in b:
            print(f"=== {name}: only in the {'new' if name in b else 'old'} record")
            bad += 1
            continue
        one, two = a[name].read_text(), b[name].read_text()
        if one == two:
            continue
        if name.endswith(".json"):
            lines = list(paths(json.loads(one), json.loads(two), "$", rtol))
        else:
            lines = list(difflib.unified_diff(one.splitlines(), two.splitlines(), "old", "new", n=2, lineterm=""))
        if lines:
            bad += 1
            print(f"=== {name}", *lines[:most], sep="\n")
            if len(lines) > most:
                print(f"... {len(lines) - most} lines more")
    print(f"{bad} of {len(a.keys() | b.keys())} files differ", file=sys.stderr)
    return int(bad > 0)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    which = parser.add_subparsers(dest="task", required=True)
    one = which.add_parser("record")
    one.add_argument("out", type=Path)
    one.add_argument("--jobs", type=int, default=2)
    two = which.add_parser("compare")
    two.add_argument("old", type=Path)
    two.add_argument("new", type=Path)
    two.add_argument("--rtol", type=float, default=0.0, help="JSON numbers may differ by this share")
    two.add_argument("--most", type=int, default=60, help="lines to show of each file")
    for each in (one, two):
        each.add_argument("--only", default="", help="families of runs, with commas between")
    given = parser.parse_args()
    only = set(filter(None, given.only.split(",")))
    if given.task == "record":
        return record(given.out.resolve(), only, given.jobs)
    return compare(given.old, given.new, only, given.rtol, given.most)


if __name__ == "__main__":
    sys.exit(main())
