"""Exit statuses of every command however its output ends and whatever encoding it has, counted by outcome.

    PYTHONPATH=. python tests/benchmarks/exit_codes.py [COMMAND ...]

Each command runs in a copy of this process whose standard streams are made as the interpreter makes them, and flushed
at the end as it does. A reader who goes must change nothing: the status is that of a run that was read. An output that
is closed or full must give status 2 with one line, and a narrow encoding the same words as far as it has them; what
cannot be told on standard error is lost. The folder's title has signs that no narrow encoding has.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import pkgutil
import select
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).parents[2]
SIGNS = "\u03a9 \u00b1 \u00b0 \u2013 \u00e9 \u97f3"
LEFT = "attic/left"
COMMANDS = {
    "new": "new made-{n}",
    "jig": "jig ratio.csv --resistor 10 --both both.csv -o ohms-{n}.csv",
    "sweep": "sweep --seconds 4 -o sweep-{n}.wav",
    "record": "record --list",
    "response": "response played.wav --played played.wav",
    "check": f"check {LEFT}",
    "undo": f"undo {LEFT} --look",
    "predict": f"predict {LEFT}",
    "strict": f"tolerance {LEFT} --builds 100 --limit 0.1 --yield 90% --strict",
    "load": f"load {LEFT} --all",
    "schematic": f"schematic {LEFT} -o sketch-{{n}}.svg",
    "angles": f"angles {LEFT}",
    "delay": f"delay {LEFT} --finished {LEFT}/whole-found.csv",
    "formula": "formula two-way-second-order",
    "sensitivity": f"sensitivity {LEFT}",
    "infer": f"infer {LEFT} --impedance {LEFT}/terminals-found.csv",
    "condition": f"condition {LEFT}",
    "stress": f"stress {LEFT} --power 60W@8 --strict",
    "lamps": f"lamps {LEFT}",
    "tolerance": f"tolerance {LEFT} --builds 200",
    "crosstalk": f"crosstalk {LEFT}",
    "refresh": f"refresh {LEFT} --stock stock.csv",
    "redesign": f"redesign {LEFT} --stock stock.csv",
    "bypass": f"bypass {LEFT} --frequency 3k",
    "decide": f"decide {LEFT} --stock stock.csv",
    "values": "values 4.73uF --pairs",
    "coil": "coil 1.8mH",
    "capacitor": "capacitor 4.77uF --esr 0.3@1kHz",
    "pad": f"pad {LEFT} tweeter --down 4",
    "verify": f"verify {LEFT} --network original --impedance {LEFT}/terminals-rebuilt.csv",
    "compare": f"compare {LEFT}:found {LEFT}:original",
    "report": f"report {LEFT} -o page-{{n}}.html --processes 1",
    "spice": f"spice {LEFT}",
    "wrong": "predict nowhere-\u03a9",
    "version": "--version",
    "help": "--help",
}
"""As they are typed; {n} is another number each time."""
SLOW = ("report", "redesign", "decide", "verify", "refresh", "infer", "sensitivity", "bypass", "delay", "tolerance")
"""They are run less often."""
FORMS = {"text": "", "json": " --json", "help": " --help"}
ENDS = ("read", "gone at once", "gone after a letter", "gone after a line", "closed", "full")
ENCODINGS = ("utf-8", "ascii", "latin-1", "cp437")
LONGEST_S = 120.0


@dataclass(frozen=True)
class Ended:
    """A command that has ended: its status, and what was read of its streams."""

    status: int
    out: bytes
    err: bytes


def furnish(place: Path) -> None:
    """The folder that the commands run in."""
    shutil.copytree(ROOT / "examples" / "attic-two-way", place / "attic")
    shutil.copy(ROOT / "examples" / "stock.csv", place)
    toml = place / LEFT / "speaker.toml"
    toml.write_text(toml.read_text("utf-8").replace("Attic two-way", f"Attic {SIGNS}"), "utf-8")
    for name, level in (("ratio.csv", -8.0), ("both.csv", 0.0)):
        rows = "".join(f"{20 * 2 ** (k / 6):.6g},{level - 0.01 * k:.4f},{0.1 * k:.3f}\n" for k in range(60))
        (place / name).write_text("Hz,dB,deg\n" + rows)
    for line in ("sweep --seconds 4 -o played.wav", f"refresh {LEFT} --write refreshed"):
        assert ended(line.split(), place).status == 0, line


def ended(
    arguments: Sequence[str], place: Path, out: str = "read", err: str = "read", encoding: str = "utf-8"
) -> Ended:
    """Run a command in a child of this process whose streams end as told."""
    pipes = os.pipe(), os.pipe()
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        _be_the_child(arguments, place, pipes, (out, err), encoding)
    for _, writer in pipes:
        os.close(writer)
    read = _read(pipes[0][0], pipes[1][0], out)
    _, status = os.waitpid(child, 0)
    return Ended(os.waitstatus_to_exitcode(status), *read)


def _be_the_child(
    arguments: Sequence[str], place: Path, pipes: Sequence[tuple[int, int]], ends: Sequence[str], encoding: str
) -> NoReturn:
    os.chdir(place)
    for number, ((reader, writer), end) in enumerate(zip(pipes, ends, strict=True), 1):
        os.close(reader)
        if end == "full":
            os.dup2(os.open("/dev/full", os.O_WRONLY), number)
        elif end == "closed":
            os.close(number)
        else:
            os.dup2(writer, number)
        os.close(writer)
    streams = [
        None if end == "closed" else open(number, "w", encoding=encoding, errors=errors)  # noqa: SIM115
        for number, end, errors in zip((1, 2), ends, ("strict", "backslashreplace"), strict=True)
    ]
    sys.stdout, sys.stderr = streams  # type: ignore[assignment]
    sys.argv = ["xover", *arguments]
    from xover.cli.main import run

    status = 98
    try:
        try:
            run()
        except SystemExit as end:
            for stream in (sys.stdout, sys.stderr):
                stream.flush()  # as the interpreter does at its end
            status = end.code if isinstance(end.code, int) else status
    except BaseException:
        traceback.print_exc()
    os._exit(status)


def _read(out: int, err: int, out_end: str) -> tuple[bytes, bytes]:
    """What comes, up to where the reader goes."""
    came = {out: b"", err: b""}
    if out_end == "gone at once":
        os.close(out)
        del came[out]
    ends = time.monotonic() + LONGEST_S
    kept = dict(came)
    while came:
        ready, _, _ = select.select(list(came), [], [], max(0.0, ends - time.monotonic()))
        assert ready, "the command does not end"
        for pipe in ready:
            piece = os.read(pipe, 1 if pipe == out and out_end.startswith("gone") else 65_536)
            kept[pipe] += piece
            letter = out_end == "gone after a letter"
            done = pipe == out and ((letter and kept[out]) or (out_end == "gone after a line" and b"\n" in kept[out]))
            if not piece or done:
                os.close(pipe)
                del came[pipe]
    return kept.get(out, b""), kept.get(err, b"")


def wrong_with(got: Ended, whole: Ended, out: str, err: str, encoding: str, as_json: bool) -> str:
    """What is not as documented; empty where all is."""
    said = got.err.decode(encoding, "replace")
    if "Traceback" in said or "Exception ignored" in said or "fault of xover" in said or got.status not in (0, 1, 2):
        return f"status {got.status}: {said.strip()[-200:]}"
    refused = out in ("closed", "full") and whole.out
    if got.status != (2 if refused else whole.status):
        return f"status {got.status}, of the whole {whole.status}"
    if refused and err == "read" and said.count("error: ") != 1:
        return f"said {said!r}"
    if out == "read" and as_json and whole.status < 2 and json.loads(got.out.decode(encoding)) != json.loads(whole.out):
        return "another object"
    if out == "read" and bool(got.out) != bool(whole.out):
        return "printed nothing"
    return ""


def cases(name: str) -> Iterator[tuple[str, str, str, str]]:
    """Form, end of standard output, end of standard error, encoding; the first is a run that is read whole."""
    once = name in SLOW
    yield from (("text", out, "read", "utf-8") for out in ENDS)
    for out, err in (("read", "closed"), ("read", "full"), ("closed", "closed"), ("full", "full")):
        yield from () if once else [("text", out, err, "utf-8")]
    yield from (("text", "read", "read", encoding) for encoding in ENCODINGS[1:])
    if name not in ("version", "help", "wrong"):
        yield from (("json", out, "read", "utf-8") for out in (ENDS if not once else ENDS[::3]))
        yield from (("json", "read", "read", encoding) for encoding in ENCODINGS[1:])
        yield from (("help", "read", "read", encoding) for encoding in ENCODINGS)
        yield from (("help", out, "read", "utf-8") for out in ENDS[1:])


def main(names: Sequence[str]) -> int:
    """Run all, and print what came of it."""
    import xover.cli.main
    import xover.studies

    for module in pkgutil.walk_packages(xover.__path__, "xover."):
        import_module(module.name)  # as copies of this process the children have all of it
    missing = set(xover.studies.HOMES) - set(COMMANDS)
    assert not missing, f"no line of {missing}"
    counts: Counter[tuple[str, str]] = Counter()
    bad, number = [], 0
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        furnish(place)
        os.chdir(place)
        for name in names or COMMANDS:
            began = time.monotonic()
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                xover.cli.main.main(COMMANDS[name].format(n="first").split())  # what is remembered the copies have, too
            wholes: dict[str, Ended] = {}
            for form, out, err, encoding in cases(name):
                number += 1
                line = (COMMANDS[name] + FORMS[form]).format(n=number).split()
                got = ended(line, place, out, err, encoding)
                whole = wholes.setdefault(form, got)
                same = form == "json" and "{n}" not in COMMANDS[name]
                fault = wrong_with(got, whole, out, err, encoding, same)
                counts[f"{out}, standard error {err}", f"status {got.status}"] += 1
                if fault:
                    bad.append(f"{' '.join(line)} [{out}, {err}, {encoding}]: {fault}")
            print(f"{name:12} {time.monotonic() - began:6.1f} s, {number} runs so far, {len(bad)} wrong", flush=True)
            for made in (
                *place.glob("made-*"),
                *place.glob("page-*"),
                *place.glob("ohms-*"),
                *place.glob("sweep-*"),
                *place.glob("sketch-*"),
            ):
                with contextlib.suppress(NotADirectoryError):
                    shutil.rmtree(made)
                if made.is_file():
                    made.unlink()
    for (end, status), count in sorted(counts.items()):
        print(f"{count:6}  {status}  standard output {end}")
    print(f"{number} runs, {len(bad)} not as documented")
    print("\n".join(bad))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
