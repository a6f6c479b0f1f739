"""Is what `infer` says as sure as it says? Boards whose parts are known, swept by simulation, inferred, counted.

    python tests/benchmarks/calibration.py                      # 60 boards of each kind, some minutes
    python tests/benchmarks/calibration.py --first 1000 --count 50 --wrong 12   # the README's
    python tests/benchmarks/calibration.py --list               # the kinds

Nothing that is simulated shares what is fitted: drivers are masses, air and eddy currents (tests/invented/drivers.py),
parts lose by laws of their own (boards.py), the jig has leads and a scale (terminals.py). Seeds are fixed: the same
counts at every run. Beside each rate stands its 95 % interval by the binomial law (Clopper and Pearson 1934), which
takes the values of one board as independent.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
for folder in (Path(__file__).parents[1], Path(__file__).parents[2]):
    sys.path.insert(0, str(folder))

import numpy as np  # noqa: E402
from invented.boards import FEWEST, MOST  # noqa: E402
from invented.inferred import KINDS, Outcome, run  # noqa: E402

LARGE = 13  # parts from which a board counts as a large one, for its time


def interval(hits: int, of: int) -> tuple[float, float]:
    """95 % interval of a rate, by the binomial law."""
    from scipy.stats import beta

    low = float(beta.ppf(0.025, hits, of - hits + 1)) if hits else 0.0
    high = float(beta.ppf(0.975, hits + 1, of - hits)) if hits < of else 1.0
    return low, high


def rate(hits: int, of: int) -> str:
    """As a table has it: 95.1 (93-97)."""
    if not of:
        return "-"
    low, high = interval(hits, of)
    return f"{100 * hits / of:.1f} ({100 * low:.1f}-{100 * high:.1f})"


def row(kind: str, found: list[Outcome]) -> str:
    """One line of the table of right boards."""
    values = [v for o in found for v in o.values]
    refused = sum(not o.fits for o in found)
    told = sum(bool(o.told) for o in found)
    wide = np.median([0.5 * (v.high - v.low) / v.truth for v in values]) if values else np.nan
    every = sum(o.parts for o in found if o.fits)
    cover = rate(sum(v.holds for v in values), len(values))
    seen = f"{100 * len(values) / every:.0f}" if every else "-"
    return (
        f"{kind:9}{len(found):>6} {cover:>17} {len(values):>6} {seen:>5} {100 * wide:>6.1f} "
        f"{rate(refused, len(found)):>16} {told:>6}"
    )


HEAD = "kind     boards     hold truth, %     of  seen  +-%       refused, %  draw so"


KEYS = {"C": "capacitors", "L": "coils", "R": "resistors", "dcr": "DCR", "esr": "ESR"}
WIDTHS = dict(zip(KEYS, (15, 15, 15, 14, 13), strict=True))


def held(found: list[Outcome], kind: str) -> str:
    """For the second table: 57/60 86-99."""
    values = [v for o in found for v in (*o.values, *o.losses) if v.kind == kind]
    if not values:
        return "-"
    hits = sum(v.holds for v in values)
    low, high = interval(hits, len(values))
    return f"{hits}/{len(values)} {100 * low:.0f}-{100 * high:.0f}"


def power(kind: str, found: list[Outcome]) -> Iterator[str]:
    """Lines of the table of wrong boards."""
    for fault in ("swapped", "open", "shorted"):
        these = [o for o in found if o.case.fault[0] == fault]
        named = sum(o.case.fault in o.told for o in these)
        yield f"{kind:9}{fault:9}{len(these):>5} {rate(sum(not o.fits for o in these), len(these)):>18} {named:>9}"


def _bar(words: str, many: Iterable[int], count: int) -> Iterator[int]:
    """Numbers, with a line on standard error that tells how far it is."""
    began = time.monotonic()
    for done, number in enumerate(many):
        if sys.stderr.isatty() or done % 10 == 0:
            end = "\r" if sys.stderr.isatty() else "\n"
            print(f"{words:24} {done:4} of {count}, {time.monotonic() - began:5.0f} s", end=end, file=sys.stderr)
        yield number


def main() -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--count", type=int, default=60, help="right boards of each kind [60]")
    options.add_argument("--wrong", type=int, default=20, help="wrong boards of each kind [20]")
    options.add_argument("--first", type=int, default=0, help="number of the first board [0]")
    options.add_argument("--kind", action="append", choices=KINDS, help="this kind only; may be given again")
    options.add_argument("--parts", default=f"{FEWEST}-{MOST}", metavar="N-M", help="size of the boards [5-14]")
    options.add_argument("--list", action="store_true", help="the kinds, and no run")
    options.add_argument("--misses", action="store_true", help="tell each value that is not held, each refusal")
    given = options.parse_args()
    if min(given.count, given.wrong, given.first) < 0:
        options.error("a number of boards is zero or more")
    if given.list:
        for name, of in KINDS.items():
            print(f"{name:9} {of.words}")
        return
    kinds = given.kind or list(KINDS)
    low, high = (int(n) for n in given.parts.split("-"))
    everything: dict[str, list[Outcome]] = {}
    print("Right boards: values called seen whose 95 % interval holds the truth, by kind")
    print(HEAD)
    for kind in kinds:
        numbers = range(given.first, given.first + given.count)
        found = [run(kind, n, parts=(low, high)) for n in _bar(kind, numbers, given.count)]
        everything[kind] = found
        print(row(kind, found), flush=True)
        if given.misses:
            tell_misses(found)
    print("of: values; seen: share of all values, %; +-%: median half width; draw so: another board offered")
    print("\nOf numbers called seen, held by their interval, with the interval of the rate in %")
    print("kind    " + "".join(f"{words:>{WIDTHS[key]}}" for key, words in KEYS.items()))
    for kind, found in everything.items():
        print(f"{kind:8}" + "".join(f"{held(found, key):>{WIDTHS[key]}}" for key in KEYS))
    if given.wrong:
        print("\nWrong boards: how many are refused")
        print("kind     fault    boards         refused, %  named so")
        for kind in kinds:
            numbers = range(given.first, given.first + given.wrong)
            found = [run(kind, n, wrong=True, parts=(low, high)) for n in _bar(f"{kind}, wrong", numbers, given.wrong)]
            for line in power(kind, found):
                print(line, flush=True)
    right = [o for found in everything.values() for o in found]
    for words, these in (
        ("all boards", right),
        (f"{LARGE} and {LARGE + 1} parts", [o for o in right if o.parts >= LARGE]),
        ("refused", [o for o in right if not o.fits]),
    ):
        if these:
            seconds = [o.seconds for o in these]
            print(f"CPU s, {words}: median {np.median(seconds):.2f}, longest {max(seconds):.2f} of {len(these)}")


def tell_misses(found: list[Outcome]) -> None:
    """What went wrong, board by board."""
    for o in found:
        missed = [
            f"{v.part} {v.kind} {v.low:.4g}..{v.high:.4g} true {v.truth:.4g}"
            for v in (*o.values, *o.losses)
            if not v.holds
        ]
        if not o.fits:
            print(f"  board {o.number}, {o.parts} parts: refused, told {o.told}")
        if missed:
            print(f"  board {o.number}, {o.parts} parts: {'; '.join(missed)}")


if __name__ == "__main__":
    main()
