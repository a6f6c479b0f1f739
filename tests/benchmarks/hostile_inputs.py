"""Mangled and hostile inputs, each read by a command in a process of its own: what came of it, its time and memory.

    python tests/benchmarks/hostile_inputs.py                        # 10,000 inputs, and the table of what came of them
    python tests/benchmarks/hostile_inputs.py --inputs 500 --first 2000 --keep failed

Run from the project's folder, with the project installed, on a system that can fork. An input is made of its number
alone. Kept are those that failed: the folder, the words of the command and what it said. Time is that of the process
(CPU, user and system), memory its largest resident size, with the libraries that are loaded before (some 200 MB).
Fits of sweeps that no input has touched are worked out once.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import pickle
import random
import resource
import shutil
import signal
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final
from unittest.mock import patch

# As the command line does: threads of small solves only wait, and count as time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import typer
import typer.main
from invented.hostile import INPUTS, Attempt, Box

import xover.cli.main
from xover.driver.fit import fit_driver
from xover.studies import HOMES, question

MOST_SECONDS: Final = 5.0
MOST_BYTES: Final = 500 * 1024**2
STOPPED_AFTER_S: Final = 20
LONGEST_STORY: Final = 2000
GOOD: Final = ("done", "refused in one line", "limit broken")


@dataclass(frozen=True)
class Outcome:
    """What came of one input; `faults` is empty where nothing is wrong with it."""

    number: int
    kind: str
    status: int
    seconds: float
    bytes: int
    faults: tuple[str, ...]
    said: str

    @property
    def ended(self) -> str:
        """Its status in words."""
        return {0: "done", 1: "limit broken", 2: "refused in one line", 3: "status 3"}.get(self.status, "killed")

    def story(self, attempt: Attempt) -> str:
        """One line of what was wrong, and with which command."""
        words = " ".join(json.dumps(word if len(word) <= 60 else word[:57] + "...") for word in attempt.words)
        faults = ", ".join(self.faults)
        return f"{self.number} {self.kind} {self.seconds:.1f} s {self.bytes >> 20} MB: {faults}: {words}"


@dataclass
class Counts:
    """Of all inputs: how they ended, by kind, and what was wrong."""

    ended: Counter[str] = field(default_factory=Counter)
    by_kind: Counter[tuple[str, str]] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    most_bytes: int = 0

    def add(self, outcome: Outcome) -> None:
        self.ended[outcome.ended] += 1
        self.by_kind[outcome.kind, outcome.ended] += 1
        self.faults.update(outcome.faults)
        self.slowest_s = max(self.slowest_s, outcome.seconds)
        self.most_bytes = max(self.most_bytes, outcome.bytes)

    def lines(self) -> Iterator[str]:
        kinds = sorted({kind for kind, _ in self.by_kind})
        words = [word for word in (*GOOD, "status 3", "killed") if self.ended[word] or word in GOOD[:2]]
        yield f"{'input':<12}" + "".join(f"{word:>21}" for word in words)
        for kind in kinds:
            yield f"{kind:<12}" + "".join(f"{self.by_kind[kind, word]:>21}" for word in words)
        yield f"{'all':<12}" + "".join(f"{self.ended[word]:>21}" for word in words)
        for fault in FAULTS:
            yield f"{fault}: {self.faults[fault]}"
        yield f"longest {self.slowest_s:.2f} s, most {self.most_bytes / 1024**2:.0f} MB"


FAULTS: Final = (
    "status 3",
    "traceback",
    "refused, but not in one line",
    "killed",
    "over 5 s",
    "over 500 MB",
    "something in the folder changed",
    "something written outside",
    "something outside quoted",
    "a Python warning",
)


@contextmanager
def warmed(box: Box, fits: bool) -> Iterator[None]:
    """Load and fit in this process what each input would load and fit again."""
    kept: dict[bytes, Any] = {}

    def once(*given: Any, **named: Any) -> Any:
        key = pickle.dumps((given, named))
        if key not in kept:
            kept[key] = fit_driver(*given, **named)
        return kept[key]

    for name in HOMES:
        question(name)
    app = xover.cli.main.app
    with ExitStack() as patches:
        for user in ("studies.desk.spice.study", "sound.driver_fit", "explain.drift"):
            patches.enter_context(patch(f"xover.{user}.fit_driver", once))
        if isinstance(app, typer.Typer):
            patches.enter_context(patch.object(xover.cli.main, "app", typer.main.get_command(app)))
        for words in box.honest() if fits else ():
            with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
                status = xover.cli.main.main(words)
            assert status == 0, words
        yield


def attempted(attempt: Attempt, box: Box, number: int) -> Outcome:
    """Run one command on one input, in a process of its own."""
    before = box.contents()
    out, err, seen = (box.beside / name for name in ("out", "err", "seen"))
    child = os.fork()
    if child == 0:
        _run(attempt, box, out, err, seen)
    _, code, used = os.wait4(child, 0)
    status = os.waitstatus_to_exitcode(code)
    said_out, said_err = (path.read_bytes().decode("utf-8", "replace") for path in (out, err))
    after = box.contents()
    changed = {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}
    changed -= {name for name in changed if attempt.may_write(name)}
    seconds, most = used.ru_utime + used.ru_stime, used.ru_maxrss * 1024
    one_line = said_err.startswith("error: ") and said_err.count("\n") == 1 and not said_out
    # What was typed may be said again; what stands in a file beside the folder may not.
    told = said_out + said_err
    found = {
        "status 3": status == 3,
        "traceback": "Traceback" in told,
        "refused, but not in one line": status == 2 and not one_line,
        "killed": status not in (0, 1, 2, 3),
        "over 5 s": seconds > MOST_SECONDS,
        "over 500 MB": most > MOST_BYTES,
        "something in the folder changed": any(name.startswith("box/") for name in changed),
        "something written outside": bool(seen.read_text()) or any(not name.startswith("box/") for name in changed),
        "something outside quoted": any(secret in told for secret in box.secrets),
        "a Python warning": "Warning: " in said_err,
    }
    story = f"{said_err[:LONGEST_STORY]}\n{said_out[:LONGEST_STORY]}\n{sorted(changed)}\n{seen.read_text()}"
    return Outcome(number, attempt.kind, status, seconds, most, tuple(f for f in FAULTS if found[f]), story)


def _run(attempt: Attempt, box: Box, out: Path, err: Path, seen: Path) -> None:
    """The child: never comes back."""
    try:
        seen.write_bytes(b"")
        for path, number in ((out, 1), (err, 2)):
            os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), number)
        sys.stdout, sys.stderr = (
            io.TextIOWrapper(os.fdopen(n, "wb", 0, closefd=False), "utf-8", "backslashreplace", write_through=True)
            for n in (1, 2)
        )
        os.environ.update({"HOME": str(box.home), "TMPDIR": str(box.scratch), "XDG_CACHE_HOME": str(box.home)})
        os.chdir(box.work)
        resource.setrlimit(resource.RLIMIT_CPU, (STOPPED_AFTER_S, STOPPED_AFTER_S + 1))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        signal.alarm(30 * STOPPED_AFTER_S)
        warnings.simplefilter("always")
        warnings.showwarning = _show_warning
        sys.dont_write_bytecode = True  # what is watched is the command, not what it compiles of itself
        sys.addaudithook(_watch(box.root, seen))
        status = xover.cli.main.main(attempt.words)
    except SystemExit as stop:
        status = stop.code if isinstance(stop.code, int) else 99
    except BaseException:
        import traceback

        traceback.print_exc()
        status = 98
    os._exit(status)


def _show_warning(message: Warning | str, category: type[Warning], *place: Any, **_: Any) -> None:
    print(f"{place[0]}:{place[1]}: {category.__name__}: {message}", file=sys.stderr)


def _watch(root: Path, seen: Path) -> Callable[[str, tuple[Any, ...]], None]:
    """Note every file that is opened to be written, and every process and connection, that is not in the box."""
    log = os.open(seen, os.O_WRONLY | os.O_APPEND)

    def hook(event: str, given: tuple[Any, ...]) -> None:
        outside = False
        if event == "open" and isinstance(given[0], str | bytes):
            outside = bool(given[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)) and _is_outside(given[0], root)
        elif event in ("os.rename", "os.link", "os.symlink"):
            outside = _is_outside(given[1], root)
        elif event in ("os.remove", "os.mkdir", "os.rmdir", "os.truncate", "os.chmod"):
            outside = _is_outside(given[0], root)
        elif event in ("subprocess.Popen", "os.system", "os.exec", "os.fork", "socket.connect"):
            outside = True
        if outside:
            os.write(log, f"{event} {given!r}\n".encode("utf-8", "replace")[:500])

    return hook


def _is_outside(path: str | bytes | int, root: Path) -> bool:
    if isinstance(path, int):  # opened before, and judged then
        return False
    real = os.path.realpath(os.fsdecode(path))
    return real != os.devnull and not real.startswith(f"{root}/")


def main(arguments: list[str]) -> int:
    """Try them all, print the table, and give 1 where anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--inputs", type=int, default=10_000, help="How many.")
    parser.add_argument("--first", type=int, default=0, help="Number of the first.")
    parser.add_argument("--keep", type=Path, help="Folder for those that fail.")
    typed = parser.parse_args(arguments)
    counts = Counts()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.default_int_handler)
    try:
        for outcome in outcomes(range(typed.first, typed.first + typed.inputs), typed.keep, chatty=True):
            counts.add(outcome)
    except KeyboardInterrupt:
        print(f"stopped after {counts.ended.total()} inputs")
    print("\n".join(counts.lines()))
    return 1 if counts.faults else 0


def outcomes(numbers: range, keep: Path | None = None, chatty: bool = False, warm: bool = True) -> Iterator[Outcome]:
    """Try the inputs of these numbers; fits are worked out before where it is worth while."""
    with tempfile.TemporaryDirectory(prefix="hostile-") as scratch:
        box = Box(Path(scratch).resolve())
        with warmed(box, warm):
            for number in numbers:
                rng = random.Random(number)
                kind = rng.choices(list(INPUTS), [share for share, _ in INPUTS.values()])[0]
                box.fill(rng)
                attempt = INPUTS[kind][1](rng, box)
                outcome = attempted(attempt, box, number)
                if outcome.faults:
                    story = outcome.story(attempt)
                    if chatty:
                        print(f"{story}\n    {outcome.said.strip()[:300]}", flush=True)
                    if keep is not None:
                        _keep(keep / str(number), box, attempt, outcome)
                yield outcome


def _keep(folder: Path, box: Box, attempt: Attempt, outcome: Outcome) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(box.root, folder, symlinks=True, ignore=shutil.ignore_patterns("pipe"))
    (folder / "words.json").write_text(json.dumps(attempt.words))
    (folder / "story.txt").write_text(f"{outcome.story(attempt)}\n{outcome.said}", errors="backslashreplace")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
