"""Every number that a command takes, at and beyond the ends of what can be read: counts by outcome.

    PYTHONPATH=tests:. python tests/benchmarks/extreme_numbers.py [questions] [combinations] [seed]

The options come from the questions' own declarations. Each is given numbers that no quantity has (1e308, 5e-324, -0.0,
nan, 400 digits, ...), every power of ten between, and its own bounds; then several of a question are drawn at once.
All is well where it ends with an answer (status 0, or 1 with --strict) or one line (status 2), without a warning of
Python, and shows no nan, no inf and no number like 1e+200.
"""

from __future__ import annotations

import io
import math
import os
import random
import re
import sys
import tempfile
import time
import warnings
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import xover.cli.main
from xover.declare import Ask, Grid, asked_of, question_of
from xover.studies import HOMES, question

ROOT = Path(__file__).parents[2] / "examples"
ATTIC = str(ROOT / "attic-two-way" / "left")
SWEEP, REBUILT = f"{ATTIC}/terminals-found.csv", f"{ATTIC}/terminals-rebuilt.csv"
JIG = f"{tempfile.gettempdir()}/xover-ratio-{os.getpid()}.csv"
NOTHING = ("1e308", "-1e308", "1e300", "1e-300", "5e-324", "-5e-324", "1e-320", "1e999", "nan", "inf", "-inf")
NOTHING += ("9" * 400, "0." + "0" * 400 + "1", "1e100", "-1e100", "1e-100", "1e30", "1e-30", "1e-40", "1e40")
FEW = ("1e308", "5e-324", "-0.0", "0", "1e-300", "1e30")
POWERS = ("-0.0", "0", "-1", "1", "0.3", *(f"1e{p}" for p in range(-18, 19, 3)))
SHAPES = {
    "HZ..HZ": ("{}..18k", "20..{}", "{}..{}"),
    "DEG,..": ("{}", "0,{}"),
    "HZ[,HZ]": ("{}", "100,{}"),
    "OHM@HZ": ("{}@1kHz", "1@{}", "{}@{}"),
    "X@HZ": ("{}@1kHz", "0.1@{}", "{}@{}"),
    "Q@HZ": ("{}@1kHz", "10@{}", "{}@{}"),
    "W@OHM": ("{}@8", "60@{}", "{}@{}"),
    "LENGTH": ("{}mm", "{}m", "{}"),
    "NAME=W,...": ("total={}", "total={},level=1"),
    "CHANNEL=DB": ("woofer={}",),
    "L1:L2=K": ("L1:L2={}",),
    "TABLE=OHM": (JIG + "={}",),
    "SIZE": ("{}mm", "AWG{}", "SWG{}", "{}"),
}
"""How a number stands in what is typed; alone where nothing is said."""
MORE = {"VALUE": ("1nF", "10000uF", "1uF"), "TARGET": ("1nF", "10000uF", "1uH", "1H", "0.001ohm", "100kohm", "0.5mH")}
"""What is typed with its unit."""
PLAIN = ("DB", "DEG", "HZ", "OHM", "FARAD", "H", "V", "W", "SHARE", "N", "MONEY", "TARGET", "VALUE")
STARTS = {
    "jig": ((JIG, "--resistor", "10"), (JIG, "--resistor", "10", "--across", "resistor")),
    "angles": ((ATTIC,),),
    "formula": (("two-way-second-order",),),
    "sweep": (("-o", f"{tempfile.gettempdir()}/xover-sweep-{os.getpid()}.wav", "--force"),),
    "infer": ((ATTIC, "--impedance", SWEEP),),
    "verify": ((ATTIC, "--network", "original", "--impedance", REBUILT),),
    "delay": ((ATTIC, "--finished", f"{ATTIC}/whole-found.csv"),),
    "values": (("4.73uF",), ("0.33mH", "--pairs"), ("6.8ohm", "--pairs"), ("4.7uF", "--stock", f"{ROOT}/stock.csv")),
    "coil": (
        ("1.8mH",),
        ("0.33mH", "--wire", "1mm", "--beside", "1mH", "--distance", "80mm"),
        ("--inner", "25mm", "--outer", "50mm", "--length", "20mm", "--turns", "100"),
        ("--inner", "25mm", "--outer", "50mm", "--length", "20mm", "--wire", "1mm", "--dcr", "0.5"),
    ),
    "capacitor": (
        ("4.7uF",),
        ("4.7uF", "--esr", "1@1kHz", "--meter", "lcr", "--reading", "5uF"),
        ("4.7uF", "--kind", "electrolytic", "--meter", "constant-current", "--reading", "5uF"),
        ("4.7uF", "--df", "0.1@1kHz", "--meter", "rc", "--reading", "5uF"),
        ("4.7uF", "--q", "10@1kHz", "--meter", "lcr-parallel"),
    ),
    "pad": (
        ("--down", "4", "--ohm", "8"),
        (ATTIC, "tweeter", "--down", "4"),
        ("--control", "rheostat", "--track", "16", "--setting", "0.4", "--ohm", "8"),
        ("--control", "potentiometer", "--track", "16", "--setting", "0.4", "--ohm", "8"),
        ("--control", "l-pad", "--track", "8", "--setting", "0.4", "--ohm", "8"),
        ("--control", "potentiometer", "--read-series", "4", "--read-other", "3", "--ohm", "8"),
    ),
    "compare": ((f"{ATTIC}:found", f"{ATTIC}:original"),),
    "redesign": ((ATTIC, "--circuit", "present", "--starts", "0"),),
}
"""What a question is asked besides; a speaker folder where nothing is said."""
UNASKED = ("new", "check", "schematic", "report")
"""They take no number but a seed, or hand it on to others."""
LONG = ("decide", "redesign", "infer", "verify", "delay", "refresh", "bypass", "tolerance", "report")
"""Seconds each: fewer numbers are tried where they are within their bounds."""
WRONG = re.compile(r"(?<![\w.])(?:nan|-?inf)(?!\w)|\de[+-]\d{3}|(?<![\d.])\d{14}", re.IGNORECASE)


@dataclass(frozen=True)
class Outcome:
    """What came of one line: its status, what was wrong with it if anything, and how long it took."""

    line: tuple[str, ...]
    status: int
    wrong: str
    seconds: float


def plain(value):
    """A number without an exponent, which every unit reads."""
    return f"{value:.12f}".rstrip("0").rstrip(".") if abs(value) < 1e15 else f"{value:g}"


def ends_of(unit):
    """The ends of what the unit reads, and what lies on the way."""
    units = [u for u in unit.of if u is not None] or [unit]
    for u in units:
        if math.isfinite(u.most) and not u.of:
            least = u.least or 1.0
            yield from (plain(v) for v in (least, u.most, math.sqrt(least * u.most), 0.0))
        elif u.of:
            yield from ends_of(u)


def numeric(name):
    """(flag, shapes, bounds) of each option that takes numbers; the flag is "" where it has a place."""
    asks = [(a.name, a.ask) for a in asked_of(question(name)) if isinstance(a.ask, Ask)]
    for parameter, ask in asks:
        shapes = SHAPES.get(ask.unit.metavar, ("{}",) if ask.unit.metavar in PLAIN else ())
        if shapes:
            own = [plain(v) for v in (ask.low, ask.high, ask.above) if math.isfinite(v)]
            inside = [t for t in ends_of(ask.unit) if ask.low <= float(t) <= ask.high and float(t) > ask.above]
            ends = tuple(dict.fromkeys([*own, *inside, *MORE.get(ask.unit.metavar, ())]))
            yield ("" if ask.place else ask.flag_of(parameter)), shapes, ends
    if any(isinstance(a.ask, Grid) for a in asked_of(question(name))):
        yield "--from", ("{}",), ("0.1", "1", "900k")
        yield "--to", ("{}",), ("1", "20", "1000k")
        yield "--per-octave", ("{}",), ("1", "960")


def starts(name):
    """The lines that a question is tried with."""
    return STARTS.get(name, ((ATTIC,) if question_of(question(name)).opens else (),))


def with_option(start, flag, text):
    """The line with one thing more, or its first word exchanged."""
    if not flag:
        if start[:1] and start[0].startswith("--"):
            return (*start, "--", text) if text.startswith("-") else (text, *start)
        return (*start[1:], "--", text) if text.startswith("-") else (text, *start[1:])
    kept = list(start)
    if flag in kept:
        at = kept.index(flag)
        del kept[at : at + 2]
    return (*kept, f"{flag}={text}")


def lines(name, numbers):
    """Each option by itself, every number in every shape, at the first line that it fits."""
    for flag, shapes, ends in numeric(name):
        for start in starts(name):
            for shape in shapes:
                for text in (*numbers, *ends):
                    yield with_option(start, flag, shape.format(text, text))


def drawn(name, count, rng):
    """Several options at once, at powers of ten and at their bounds."""
    known = list(numeric(name))
    for _ in range(count if known else 0):
        line = rng.choice(starts(name))
        for flag, shapes, ends in rng.sample(known, k=rng.randint(1, min(4, len(known)))):
            some = ends if ends and rng.random() < 0.9 else POWERS
            line = with_option(line, flag, rng.choice(shapes).format(rng.choice(some), rng.choice(some)))
        yield (*line, "--json") if rng.random() < 0.3 else line


def run(name, line):
    """Run it, as a user would."""
    out, err = io.StringIO(), io.StringIO()
    began = time.perf_counter()
    with warnings.catch_warnings(record=True) as said, redirect_stdout(out), redirect_stderr(err):
        warnings.simplefilter("always")
        status = xover.cli.main.main([name, *line])
    seconds = time.perf_counter() - began
    wrong = ""
    if status not in (0, 1, 2):
        wrong = err.getvalue().strip()[-200:]
    elif said:
        wrong = f"warning: {said[0].message} ({Path(said[0].filename).name}:{said[0].lineno})"
    elif status == 2 and (out.getvalue() or err.getvalue().count("\n") != 1):
        wrong = "not one line"
    elif status != 2 and (found := WRONG.search(out.getvalue() + err.getvalue())):
        wrong = f"shows {found[0]}"
    return Outcome((name, *line), status, wrong, seconds)


def told(count):
    return ", ".join(f"{what} {number}" for what, number in sorted(count.items()))


def write_ratio():
    """What a jig of 10 ohm measures of 6 ohm and 0.3 mH: invented."""
    f = np.geomspace(20.0, 20e3, 31)
    z = 6.0 + 2j * np.pi * f * 0.3e-3
    h = z / (z + 10.0)
    rows = zip(f, 20 * np.log10(np.abs(h)), np.degrees(np.angle(h)), strict=True)
    Path(JIG).write_text("Hz,dB,deg\n" + "".join(f"{a:.9g},{b:.9f},{c:.9f}\n" for a, b, c in rows))


def main(names, combinations, seed):
    total: Counter[str] = Counter()
    failed = []
    write_ratio()
    for name in names:
        rng = random.Random(f"{seed}{name}")
        numbers = FEW if name in LONG else (*NOTHING, *POWERS)
        tried = list(
            dict.fromkeys([*lines(name, numbers), *drawn(name, combinations // (20 if name in LONG else 1), rng)])
        )
        done = [run(name, line) for line in tried]
        count = Counter("wrong" if o.wrong else f"status {o.status}" for o in done)
        total += count
        failed += [o for o in done if o.wrong]
        seconds = sum(o.seconds for o in done)
        print(
            f"{name:12} {len(done):6} {seconds:7.1f} s  " + ", ".join(f"{k} {v}" for k, v in sorted(count.items())),
            flush=True,
        )
        for o in [o for o in done if o.wrong][:400]:
            print("   ", " ".join(t if len(t) < 60 else t[:20] + "..." for t in o.line), "->", o.status, o.wrong[:160])
    print(f"all {sum(total.values())}: {told(total)}")
    Path(JIG).unlink()
    return 1 if failed else 0


if __name__ == "__main__":
    wanted = [w for w in sys.argv[1:] if w in HOMES] or [n for n in HOMES if n not in UNASKED]
    given = [int(w) for w in sys.argv[1:] if w.isdigit()]
    sys.exit(main(wanted, given[0] if given else 200, given[1] if len(given) > 1 else 1))
