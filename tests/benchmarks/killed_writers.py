"""Counts what is left where writers are many, are killed, or find no room. Run as a program:

    python tests/benchmarks/killed_writers.py [--trials 50] [--kills 200] [--seed 7]

1. The commands that write, with no room for a file, on a full disk, in a folder that cannot be written to, and from a
   working folder that has gone.
2. Five `xover refresh --write` at once over one folder, so many trials: is each network there that was told as written?
3. The commands that write, killed at moments drawn at random by each of four signals: are files whole, is scratch or a
   process left, and does `xover undo` bring back every byte?
"""

import argparse
import contextlib
import functools
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "pool")]

from left_behind import MARK, marked, wait_until  # noqa: E402

from xover.files.changes import JOURNAL  # noqa: E402

CODE = "from xover.cli.main import run; run()"
LINE = re.compile(r"error: \S+: .*(cannot be written|cannot be made)")
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
WRITERS = 5


def start(words: list[Any], mark: str = "", **how: Any) -> "subprocess.Popen[str]":
    """One command, in a session of its own."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), MARK: mark, "OPENBLAS_NUM_THREADS": "1"}
    environment |= how.pop("env", {})
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "start_new_session": True}
    return subprocess.Popen([sys.executable, "-c", CODE, *map(str, words)], env=environment, **{**pipes, **how})


@contextmanager
def a_copy() -> Iterator[Path]:
    """A folder of an example that may be written to, with a folder for scratch beside it."""
    with tempfile.TemporaryDirectory(prefix="xw-") as own:
        shutil.copytree(ROOT / "examples" / "attic-two-way", Path(own, "attic"))
        Path(own, "tmp").mkdir()
        yield Path(own, "attic", "left")


def networks(folder: Path) -> set[str]:
    """Those that speaker.toml names. Raises where it is not whole."""
    return set(tomllib.loads((folder / "speaker.toml").read_text(encoding="utf-8"))["networks"])


def at_once(trials: int, writers: int = WRITERS) -> Counter[str]:
    """Outcomes of so many trials of five writers at once."""
    counted: Counter[str] = Counter()
    for _ in range(trials):
        with a_copy() as folder:
            before = networks(folder)
            started = [start(["refresh", folder, "--write", f"n{k}"]) for k in range(writers)]
            told = [process.communicate() and process.returncode for process in started]
            there = networks(folder) - before
            said = {f"n{k}" for k, status in enumerate(told) if status == 0}
            files = {p.stem for p in folder.glob("n*.cir")}
            counted["writes told as done"] += len(said)
            counted["writes refused with a line"] += sum(status == 2 for status in told)
            counted["other statuses"] += sum(status not in (0, 2) for status in told)
            counted["told as done and lost"] += len(said - there)
            counted["there and not told"] += len(there - said) + len(files ^ there)
            counted["scratch files"] += len(list(folder.glob(".*"))) - (folder / JOURNAL).exists()
    return counted


def commands(folder: Path) -> list[list[Any]]:
    """What is killed: each writes elsewhere."""
    page = folder.parent / "page.html"
    return [
        ["refresh", folder, "--write", "found", "--force"],
        ["refresh", folder, "--write", "new"],
        ["new", folder, "--force"],
        ["load", folder, "--plot", folder / "load.svg", "--force"],
        ["spice", folder, "-o", folder / "spice.cir", "--force"],
        ["report", folder, "-o", page, "--force", "--pdf", "--processes", "2"],
    ]


def states(folder: Path) -> dict[str, bytes]:
    """Every file of the folder and the one around it."""
    return {str(p.relative_to(folder.parent)): p.read_bytes() for p in folder.parent.rglob("*") if p.is_file()}


def whole(name: str, data: bytes, before: dict[str, bytes]) -> bool:
    """Whether a file is as it was, or new and to its last byte."""
    ends = {".svg": b"</svg>", ".html": b"</html>", ".pdf": b"%%EOF", ".cir": b".end", ".toml": b'.cir"'}
    return data == before.get(name) or (data.rstrip().endswith(ends[Path(name).suffix]) and len(data) > 100)


def look(folder: Path, before: dict[str, bytes], mark: str, counted: Counter[str]) -> None:
    """Count what a command has left."""
    counted["processes left"] += 0 if wait_until(lambda: not marked(mark), 5.0) else 1
    after = states(folder)
    scratch = [name for name in after if Path(name).name.startswith(".") and Path(name).name != JOURNAL]
    scratch += os.listdir(folder.parents[1] / "tmp")
    files = {n: d for n, d in after.items() if not Path(n).name.startswith(".")}
    broken = [n for n, d in files.items() if not whole(n, d, before)]
    counted["files not whole"] += len(broken)
    counted.update(f"not whole: {name}" for name in broken)
    counted["files gone"] += len(set(before) - set(after))
    counted["scratch"] += len(scratch)
    counted.update(f"scratch: {re.sub('[0-9a-f]{6,}', '*', Path(name).name)}" for name in scratch)
    counted["speaker.toml names what is not there"] += sum(
        not (folder / entry["circuit"]).exists()
        for entry in tomllib.loads((folder / "speaker.toml").read_text(encoding="utf-8"))["networks"].values()
    )
    changed = {n for n in files if files[n] != before.get(n)}
    counted["nothing changed" if not changed else "written"] += 1
    if (folder / JOURNAL).exists():
        undone = start(["undo", folder])
        undone.communicate()
        own = {n: d for n, d in states(folder).items() if n.startswith(folder.name) and n.endswith((".toml", ".cir"))}
        ours = {n: d for n, d in before.items() if n.startswith(folder.name) and n.endswith((".toml", ".cir"))}
        counted["undone byte by byte" if own == ours else "not undone"] += 1


def killed(kills: int, seed: int) -> Counter[str]:
    """Outcomes of so many commands that are killed."""
    signal.signal(
        signal.SIGINT, signal.default_int_handler
    )  # what runs in the background ignores it, and all it starts
    draw = random.Random(seed)
    counted: Counter[str] = Counter()
    lasts: dict[str, float] = {}
    for number in range(kills):
        with a_copy() as folder:
            before = states(folder)
            words = commands(folder)[number % len(commands(folder))]
            mark, tmp = f"kw-{os.getpid()}-{number}", str(folder.parents[1] / "tmp")
            kind = " ".join(map(str, [words[0], *words[2:3]]))
            if kind not in lasts:  # once to its end, to know how long it takes
                began = time.monotonic()
                start(words, env={"TMPDIR": tmp}).communicate()
                lasts[kind] = time.monotonic() - began
                continue
            process = start(words, mark, env={"TMPDIR": tmp}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            # Most writing is done at the end.
            part = draw.choice((draw.uniform(0.0, 1.0), draw.uniform(0.7, 1.1)))
            time.sleep(part * lasts[kind])
            how = draw.choice(SIGNALS)
            process.send_signal(how)
            try:
                status = process.wait(60.0)
            except subprocess.TimeoutExpired:
                counted["not ended within a minute"] += 1
                process.kill()
                status = process.wait()
            counted[f"status {status}" if status >= 0 else f"ended by {signal.Signals(-status).name}"] += 1
            look(folder, before, mark, counted)
    return counted


def no_room() -> None:
    """A process that may write no file of more than some bytes meets what a full disk is at that place."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (200, 200))


@contextmanager
def full(folder: Path) -> Iterator[None]:
    """A disk of its own, filled to the last byte; needs root."""
    with on_a_disk(folder, "size=2m"):
        with open(folder / "filler", "wb", buffering=0) as stream, contextlib.suppress(OSError):
            while stream.write(bytes(4096)):
                pass
        yield
        (folder / "filler").unlink()


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Folders that may not be written to, or, as root may do that all the same, a disk that cannot be."""
    if os.geteuid() == 0:
        with on_a_disk(folder, "size=20m"):
            subprocess.run(["mount", "-o", "remount,ro", folder], check=True)
            yield
            subprocess.run(["mount", "-o", "remount,rw", folder], check=True)
        return
    for path in (*folder.rglob("*"), folder):
        os.chmod(path, 0o555 if path.is_dir() else 0o444)
    yield
    for path in (folder, *folder.rglob("*")):
        os.chmod(path, 0o755 if path.is_dir() else 0o644)


@contextmanager
def on_a_disk(folder: Path, options: str) -> Iterator[None]:
    """The same folder on a disk in memory."""
    aside = folder.with_name("aside")
    folder.rename(aside)
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", folder], check=True)
    try:
        shutil.copytree(aside, folder, dirs_exist_ok=True)
        yield
    finally:
        subprocess.run(["umount", folder], check=True)


def vanish(folder: Path) -> None:
    """Leave a process in a folder that is no more."""
    gone = folder.parents[1] / "gone"
    gone.mkdir()
    os.chdir(gone)
    gone.rmdir()


def in_trouble() -> Iterator[tuple[str, Counter[str]]]:
    """Outcomes by trouble."""
    usual = contextlib.nullcontext
    ways: dict[str, tuple[Any, Any]] = {
        "no room for a file": (usual, lambda _: no_room()),
        "a read-only folder": (read_only, None),
    }
    ways |= {"a full disk": (full, None)} if os.geteuid() == 0 else {}
    ways |= {"a working folder that has gone": (usual, vanish)}
    for trouble, (there, prepare) in ways.items():
        counted: Counter[str] = Counter()
        for number in range(6):
            with a_copy() as folder, there(folder.parent):
                before = states(folder)
                mark = f"kw-{os.getpid()}-{number}-{trouble}"
                how: dict[str, Any] = {"env": {"TMPDIR": str(folder.parents[1] / "tmp")}}
                if prepare is not None:
                    how["preexec_fn"] = functools.partial(prepare, folder)
                process = start(commands(folder)[number], mark, **how)
                said = process.communicate()[1].strip().split("\n")
                counted[f"status {process.returncode}"] += 1
                if process.returncode:
                    counted["one line that names the file" if LINE.search(said[-1]) else f"odd: {said[-1]}"] += 1
                look(folder, before, mark, counted)
        yield trouble, counted


def show(name: str, counted: Counter[str]) -> None:
    """A block of lines."""
    print(f"{name}:")
    for outcome, count in sorted(counted.items()):
        print(f"  {count:5d}  {outcome}")
    sys.stdout.flush()


def main() -> None:
    """All of it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, count in (("trials", 50), ("kills", 200), ("seed", 7)):
        parser.add_argument(f"--{name}", type=int, default=count)
    given = parser.parse_args()
    for trouble, counted in in_trouble():
        show(trouble, counted)
    show(f"{given.trials} trials of {WRITERS} writers at once", at_once(given.trials))
    show(f"{given.kills} commands killed", killed(given.kills, given.seed))


if __name__ == "__main__":
    main()
