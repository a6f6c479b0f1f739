"""Every command over odd but legal networks: `python tests/benchmarks/odd_networks.py [--share 1/8] [--keep DIR]`.

Each oddity makes the networks of a folder anew; drivers and sweeps are those of the examples, every fourth row of
them. Each run is one call of the command line in one of two forked processes, with Python's warnings counted. Printed
for each command: answers, answers that say what is missing, refusals (status 2), broken limits (status 1, which
nothing here asks for), faults (status 3), Python warnings, and runs that take over 10 s; then each fault in a line.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import re
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
FOLDERS: Final = {
    "attic": ("attic-two-way/left", ("woofer", "tweeter")),
    "hall": ("hall-horn-two-way", ("woofer", "horn")),
    "studio": ("studio-three-way", ("woofer", "mid", "tweeter")),
}
ASKED: Final = {
    "check": ("{}",),
    "predict": ("{} NET",),
    "load": ("{} NET",),
    "schematic": ("{} NET -o drawn.svg --force",),
    "angles": ("{} NET",),
    "delay": ("{} NET --finished SUM",),
    "formula": ("{} NET",),
    "sensitivity": ("{} NET",),
    "infer": ("{} NET --impedance SWEEP",),
    "condition": ("{}",),
    "stress": ("{} NET",),
    "lamps": ("{} NET --volts 3",),
    "tolerance": ("{} NET --builds 300",),
    "crosstalk": ("{} NET",),
    "refresh": ("{} NET",),
    "redesign": ("{} NET --starts 1 --circuit present",),
    "bypass": ("{} NET",),
    "decide": ("{} NET --skip redesign --all",),
    "verify": ("{} NET --impedance SWEEP",),
    "compare": ("{}:FIRST {}:LAST", "{}:FIRST WHOLE:original"),
    "report": ("{} --processes 1 -o page.html --force",),
    "spice": ("{} NET",),
    "pad": ("{} DRIVER --down 3 NET",),
}
"""What each command that opens a speaker is asked; NET stands for the last network, FIRST and LAST for their names."""
MISSING: Final = re.compile(
    r"not known|unknown|cannot|could not|nothing |no driver|is missing|not in the network|not compared|null",
    re.IGNORECASE,
)
FORMS: Final[Mapping[str, Sequence[tuple[str, ...]]]] = {"text": [()], "json": [("--json",)], "both": [(), ("--json",)]}
LONG_S: Final = 10.0
OUTCOMES: Final = ("answer", "says what is missing", "refused, 2", "limit, 1", "FAULT, 3", "WARNING", "over 10 s")

Circuits = Mapping[str, str]


@dataclass(frozen=True)
class Oddity:
    """What an oddity writes: its networks, and what it does to speaker.toml, and drivers without any sound."""

    circuits: Circuits
    toml: Callable[[str], str] = lambda text: text
    muted: tuple[str, ...] = ()


def plain(d: tuple[str, ...], minus: str = "0") -> str:
    """An honest second-order network of all drivers."""
    low, *mid, high = d
    cards = f"L1 in w 2.2mH dcr=0.3\nC1 w {minus} 12uF\nXlow w {minus} {low}\n"
    for name in mid:
        cards += f"C3 in m 30uF\nL3 m k 0.6mH dcr=0.2\nXmid k {minus} {name}\n"
    return cards + f"C2 in t 4.7uF\nL2 t {minus} 0.4mH dcr=0.2\nR1 t p 2.2\nXhigh p {minus} {high}\n"


def _without(text: str, *cards: str) -> str:
    return "".join(line + "\n" for line in text.splitlines() if line.split()[0] not in cards)


def _two(found: str, original: str) -> Oddity:
    return Oddity({"original": original, "found": found})


def _only_driver(name: str) -> Callable[[str], str]:
    def cut(text: str) -> str:
        tables = re.split(r"(?m)^(?=\[)", text)
        heads = [re.match(r"\[drivers\.([^.\]]+)", t) for t in tables]
        return "".join(
            t for t, h in zip(tables, heads, strict=True) if (h is None or h[1] == name) and "bypass" not in t[:8]
        )

    return cut


def _renamed(old: str, new: str) -> Callable[[str], str]:
    def edit(text: str) -> str:
        key = new if new.isalnum() and new.isascii() else json.dumps(new, ensure_ascii=False)
        return re.sub(rf"(?m)^\[(drivers|bypass\.channels)\.{old}(?=[.\]])", rf"[\1.{key}", text)

    return edit


def _mute(folder: Path, name: str) -> None:
    """-290 dB in every row of a driver's response."""
    for path in folder.glob(f"{name}-response.*"):
        kept = []
        for row in path.read_text(encoding="utf-8").splitlines():
            number = re.match(r"\s*([\d.]+)([\s,;]+)", row)
            kept.append(f"{number[1]}{number[2]}-290{number[2]}0" if number else row)
        path.write_text("\n".join(kept) + "\n", encoding="utf-8")


def oddities(d: tuple[str, ...]) -> Iterator[tuple[str, Oddity]]:
    """All oddities for drivers from the lowest to the highest."""
    low, high = d[0], d[-1]
    base = plain(d)
    bare = "".join(f"X{n} in 0 {name}\n" for n, name in enumerate(d, 1))
    channels = "".join(f"V{n} c{n} 0\n" for n, _ in enumerate(d, 1))
    active = channels + "".join(f"X{n} c{n} 0 {name}\n" for n, name in enumerate(d, 1))
    yield "plain", _two(base.replace("12uF", "13uF"), base)
    yield "one-bare-driver", _two(f"X1 in 0 {low}\n", f"X1 in 0 {low}\n")
    yield "one-bare-found", _two(f"Xlow in 0 {low}\n", base)
    yield "one-bare-original", _two(base, f"Xhigh in 0 {high}\n")
    yield "all-bare", _two(bare, bare)
    yield "all-bare-found", _two(bare, base)
    yield "missing-in-found", _two(_without(base, "Xhigh"), base)
    yield "missing-in-original", _two(base, _without(base, "Xhigh"))
    yield "woofer-missing-in-found", _two(_without(base, "Xlow"), base)
    yield "each-has-one", _two(_without(base, "Xlow", "Xmid"), _without(base, "Xhigh"))
    yield "missing-with-its-parts", _two(_without(base, "Xhigh", "C2", "L2", "R1"), base)
    yield "twice-in-found", _two(base + f"Xhigh2 p 0 {high}\n", base)
    yield "twice-in-original", _two(base, base + f"Xhigh2 p 0 {high}\n")
    yield "twice-other-names", _two(_without(base, "Xlow") + f"Xa w 0 {low}\nXb w 0 {low}\n", base)
    yield (
        "twice-in-both-other-names",
        _two(
            _without(base, "Xlow") + f"Xa w 0 {low}\nXb w 0 {low}\n",
            _without(base, "Xlow") + f"Xupper w 0 {low}\nXlower w 0 {low}\n",
        ),
    )
    yield "twice-fed-unlike", _two(base + f"L9 in w9 8mH dcr=0.5\nXlow9 w9 0 {low}\n", base)
    yield "three-times", _two(base + f"Xl2 w 0 {low}\nXl3 w 0 {low}\n", base + f"Xl2 w 0 {low}\n")
    yield "key-is-other-driver", _two(_without(base, "Xlow") + f"X{high} w 0 {low}\nXb w 0 {low}\n", base)
    yield "in-series", _two(f"X1 in m {low}\nX2 m 0 {high}\n", f"X1 in m {low}\nX2 m 0 {high}\n")
    yield "one-in-series-with-itself", _two(f"X1 in m {low}\nX2 m 0 {low}\n", base)
    yield "in-parallel", _two(f"L1 in w 1mH\nX1 w 0 {low}\nX2 w 0 {high}\n", base)
    yield "series-capacitor-across", _two(f"X1 in m {low}\nC1 in m 10uF\nX2 m 0 {high}\nL1 m 0 1mH dcr=0.2\n", base)
    yield "no-parts-found", _two(bare, base)
    yield "no-parts-both-other-feed", _two(bare, f"X1 in 0 {low}\nX2 0 in {high}\n")
    yield "no-driver", _two("L1 in w 1mH\nC1 w 0 10uF\nR1 w 0 8\n", base)
    yield "no-driver-both", _two("L1 in w 1mH\nC1 w 0 10uF\nR1 w 0 8\n", "L1 in w 1mH\nC1 w 0 12uF\nR1 w 0 8\n")
    yield "only-resistors", _two("R1 in w 4\nR2 w 0 8\n", "R1 in w 4\nR2 w 0 8\n")
    yield "one-resistor", _two("R1 in 0 8\n", "R1 in 0 4\n")
    yield "none-between", _two("V1 a 0\nV2 b 0\nR1 a 0 8\nR2 b 0 8\n", base)
    yield "none-between-dummy", _two(f"V1 a 0\nV2 b 0\nR1 a b 8\nX1 q 0 {low}\nR2 q 0 4\n", base)
    yield "between-channels", _two(f"V1 a 0\nV2 b 0\nX1 a b {low}\nX2 a 0 {high}\n", base)
    yield (
        "all-between-channels",
        _two("V1 a 0\nV2 b 0\n" + "".join(f"C{n} a n{n} 10uF\nX{n} n{n} b {x}\n" for n, x in enumerate(d, 1)), base),
    )
    yield "bridged", _two(f"V1 a b\nV2 c 0\nX1 a b {low}\nX2 c 0 {high}\n", base)
    yield "one-bridged-channel", _two(f"V1 a b\nL1 a w 1mH\nX1 w b {low}\nC1 a t 5uF\nX2 t b {high}\n", base)
    yield "channel-on-channel", _two(f"V1 a 0\nV2 b a\nX1 a 0 {low}\nX2 b a {high}\n", base)
    yield "shorted-driver", _two(base + "R9 w 0 0\n", base)
    yield "shorted-both", _two(base + "R9 p 0 0\n", base + "R9 p 0 0\n")
    yield "shorted-input-side", _two("R9 in w 0\n" + base.replace("L1 in w", "L1 w v"), base)
    yield "same-node", _two(base + f"X9 w w {low}\n", base)
    yield "minus-behind-capacitor", _two(_without(base, "Xhigh") + f"X9 p z {high}\nC9 z 0 10uF\n", base)
    yield "minus-open-capacitor", _two(_without(base, "Xhigh") + f"X9 p z {high}\nC9 z y 10uF\n", base)
    yield "minus-open", _two(_without(base, "Xhigh") + f"X9 p z {high}\n", base)
    yield "never-grounded", _two(plain(d, "mm"), base)
    yield "never-grounded-both", _two(plain(d, "mm"), plain(d, "mm"))
    yield (
        "one-way-never-grounded",
        _two(base.replace("C1 w 0", "C1 w g").replace(f"Xlow w 0 {low}", f"Xlow w g {low}"), base),
    )
    yield "never-fed", _two(base.replace("C2 in t", "C2 q t"), base)
    yield "all-floating", _two(plain(d, "mm").replace(" in ", " inn "), base)
    yield (
        "far-down",
        _two(
            base.replace("R1 t p 2.2", "R1 t p 100k\nR8 p 0 1m\nR7 p pp 100k\nR6 pp 0 1m").replace(
                "Xhigh p", "Xhigh pp"
            ),
            base,
        ),
    )
    yield "silent-driver", Oddity({"original": base, "found": base.replace("12uF", "13uF")}, muted=(high,))
    yield (
        "all-silent",
        Oddity({"original": base, "found": base}, muted=d),
    )
    yield (
        "only-woofers",
        _two("".join(f"L{n} in w{n} {n}mH dcr=0.2\nX{n} w{n} 0 {low}\n" for n in (1, 2)), f"X1 in 0 {low}\n"),
    )
    yield (
        "one-driver-in-all",
        Oddity(
            {"original": f"L1 in w 1mH\nX1 w 0 {low}\n", "found": f"L1 in w 1.2mH\nX1 w 0 {low}\n"}, _only_driver(low)
        ),
    )
    yield (
        "one-driver-twice-in-all",
        Oddity(
            {"original": f"L1 in w 1mH\nX1 w 0 {low}\nX2 w 0 {low}\n", "found": f"L1 in w 1.2mH\nX1 w 0 {low}\n"},
            _only_driver(low),
        ),
    )
    yield "driver-not-in-toml", Oddity({"original": base, "found": base}, _only_driver(low))
    yield "all-reversed", _two(re.sub(r"(?m)^(X\w+) (\w+) 0", r"\1 0 \2", base), base)
    yield "all-reversed-both", _two(*[re.sub(r"(?m)^(X\w+) (\w+) 0", r"\1 0 \2", base)] * 2)
    yield "one-reversed", _two(re.sub(r"(?m)^(Xhigh) (\w+) 0", r"\1 0 \2", base), base)
    yield "coupled-ways", _two(base + "K1 L1 L2 0.3\n", base)
    yield "coupled-tightly", _two(base + "K1 L1 L2 1\n", base + "K1 L1 L2 -1\n")
    yield "common-minus", _two(plain(d, "g") + "R9 g 0 1\n", base)
    yield "common-minus-capacitor", _two(plain(d, "g") + "C9 g 0 100uF\n", base)
    yield "shared-part", _two(base.replace(" in ", " s ") + "R9 in s 1\n", base)
    yield "shared-between", _two(base + "C9 w t 1uF\n", base)
    yield "island-grounded", _two(base + "R8 q 0 10\nC8 q 0 1uF\n", base)
    yield "island-with-driver", _two(_without(base, "Xhigh") + f"R8 q 0 10\nX8 q 0 {high}\n", base)
    yield "island-on-source", _two(base + "R8 in q 10\nC8 q in 1uF\n", base)
    yield "dead-branch", _two(base + "R8 w q 10\n", base)
    yield "dead-branch-chain", _two(base + "R8 w q 10\nL8 q r 1mH\nC8 r s 1uF\n", base + "R8 w q 10\n")
    yield "duplicates-parallel", _two(base + "C8 w 0 12uF\nC9 w 0 12uF\n", base + "C8 w 0 12uF\n")
    yield "duplicates-series", _two(base.replace("R1 t p 2.2", "R1 t pa 1.1\nR8 pa p 1.1"), base)
    yield "across-source", _two(base + "C9 in 0 10uF\nR9 in 0 100\n", base)
    yield (
        "one-letter",
        _two(base.replace("L1 in", "L in").replace("C1 w", "C w").replace("R1 t", "R t").replace("Xlow", "X"), base),
    )
    yield (
        "one-letter-driver",
        Oddity(
            {"original": base.replace(f" {low}\n", " w\n"), "found": base.replace(f" {low}\n", " w\n")},
            _renamed(low, "w"),
        ),
    )
    for word in ("m.i:d", "\u0442\u0432\u0438\u0442\u0435\u0440", "a.b", "0", "in", "sum", "load", "low+high"):
        circuit = base.replace(f" {high}\n", f" {word}\n")
        yield f"driver-called-{word}", Oddity({"original": circuit, "found": circuit}, _renamed(high, word))
    yield "nodes-with-dots", _two(re.sub(r"\bw\b", "w.1\u00fc", base), base)
    yield "identical", _two(base, base)
    yield "others-under-other-names", _two(re.sub(r"\b([LCR])(\d)\b", r"\1\g<2>5", base), base)
    yield "original-missing", Oddity({"found": base})
    yield "found-missing", Oddity({"original": base})
    yield "neither", Oddity({"mine": base})
    yield "no-networks", Oddity({})
    yield "only-active", Oddity({"active": active})
    yield "active", _two(active, base)
    yield "active-both", _two(active, active)
    yield "active-with-parts", _two(active + "C1 c1 0 5uF\n", base)
    yield "channels-of-one-driver", _two(f"V1 a 0\nV2 b 0\nX1 a 0 {low}\nX2 b 0 {low}\n", base)
    yield "channel-unused", _two("V1 a 0\nV2 b 0\n" + base.replace(" in ", " a "), base)
    yield "channel-on-resistor", _two("V1 a 0\nV2 b 0\nR9 b 0 8\n" + base.replace(" in ", " a "), base)
    yield "channels-mixed", _two(f"V1 a 0\nV2 b 0\nR7 a w 3\nR8 b w 3\nX1 w 0 {low}\nX2 b 0 {high}\n", base)
    yield "lamp", _two(base + "R9 p q 1 kind=lamp cold=1 hot=10 watts=5\n".replace("p q", "w 0"), base)
    yield "lamp-first", _two("R9 in s 1 kind=lamp cold=1 hot=10 watts=5\n" + base.replace(" in ", " s "), base)
    yield "only-capacitors", _two(f"C1 in m 10uF\nC2 m 0 10uF\nX1 m 0 {low}\n", base)
    yield "lossless-trap", _two(base + "L8 w u 1mH\nC8 u 0 10uF\n", base)
    yield "series-trap", _two(base.replace("L1 in w", "L8 in u 1mH\nC8 in u 10uF\nL1 u w"), base)
    yield "zero-links", _two(base.replace("L1 in w", "R8 in u 0\nR9 u uu 0\nL1 uu w"), base)
    yield (
        "autotransformer",
        _two(
            _without(base, "R1", "L2", "Xhigh")
            + f"L2 t p 8mH dcr=0.5\nL9 p 0 3mH dcr=0.2\nK1 L2 L9 0.999\nXhigh p 0 {high}\n",
            base,
        ),
    )
    yield "series-network", _two(f"Xlow in m {low}\nC1 in m 20uF\nXhigh m 0 {high}\nL1 m 0 0.6mH\n", base)
    yield "no-high-pass", _two(f"L1 in w 1mH\nX1 w 0 {low}\nX2 in 0 {high}\n", base)
    yield "all-behind-one-coil", _two(base.replace(" in ", " s ") + "L9 in s 20mH dcr=1\n", base)


@dataclass(frozen=True)
class Asked:
    """One run: of which folder, which oddity, which command, with which words."""

    folder: str
    oddity: str
    command: str
    words: tuple[str, ...]


def write_folder(place: Path, folder: str, odd: Oddity) -> Path:
    """A folder of that example with the networks of an oddity; every fourth row of its tables."""
    source = ROOT / "examples" / FOLDERS[folder][0]
    place.mkdir(parents=True)
    for path in source.iterdir():
        if path.suffix in (".csv", ".txt", ".z1p"):
            lines = path.read_text(encoding="utf-8").split("\n")
            kept = [line for n, line in enumerate(lines) if n % 4 == 0 or not line[:1].isdigit()]
            (place / path.name).write_text("\n".join(kept), encoding="utf-8")
    text = re.sub(
        r"(?ms)^\[networks\..*?(?=^\[(?!networks)|\Z)", "", (source / "speaker.toml").read_text(encoding="utf-8")
    )
    for name, circuit in odd.circuits.items():
        (place / f"{name}.cir").write_text(f"* Odd, invented\n{circuit}.end\n", encoding="utf-8")
        text += f'\n[networks.{name}]\ncircuit = "{name}.cir"\n'
    (place / "speaker.toml").write_text(odd.toml(text), encoding="utf-8")
    for name in odd.muted:
        _mute(place, name)
    return place


def asked(folder: str, name: str, odd: Oddity, commands: Sequence[str], forms: str = "both") -> Iterator[Asked]:
    """Every run over one folder."""
    names = tuple(odd.circuits) or ("found",)
    for command in commands:
        for line in ASKED[command]:
            sweep = next((ROOT / "examples" / FOLDERS[folder][0]).glob("terminals-found.*"))
            words = (
                line.replace("NET", f"--network {names[-1]}")
                .replace("FIRST", names[0])
                .replace("LAST", names[-1])
                .replace("SWEEP", "{}/" + sweep.name)
                .replace("SUM", "{}/whole-found.csv" if folder == "attic" else "{}/woofer-response" + sweep.suffix)
                .replace("WHOLE", str(ROOT / "examples" / FOLDERS[folder][0]))
                .replace("DRIVER", FOLDERS[folder][1][-1])
            )
            yield from (Asked(folder, name, command, (*words.split(), *form)) for form in FORMS[forms])


def ask(run: Asked, place: Path) -> tuple[tuple[str, ...], str, float]:
    """The outcomes of one run, what was printed, and how long it took."""
    from xover.cli.main import main

    words = [w.replace("{}", str(place)) for w in run.words]
    out, err = io.StringIO(), io.StringIO()
    begun = time.process_time()  # other work on this machine shall not count
    with warnings.catch_warnings(record=True) as caught, redirect_stdout(out), redirect_stderr(err):
        warnings.simplefilter("always")
        try:
            status = main([run.command, *words])
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 3
    took = time.process_time() - begun
    told = out.getvalue() + err.getvalue()
    missing = MISSING.search(told) is not None
    outcomes = [
        {0: OUTCOMES[1] if missing else OUTCOMES[0], 2: OUTCOMES[2], 1: OUTCOMES[3]}.get(status, OUTCOMES[4]),
        *([OUTCOMES[5]] if caught or "a fault of xover itself" in told else []),
        *([OUTCOMES[6]] if took > LONG_S else []),
    ]
    told += "".join(f"WARNING {w.filename}:{w.lineno}: {w.message}\n" for w in caught)
    return tuple(outcomes), told, took


def share_of(
    runs: list[tuple[str, str, Oddity]], commands: tuple[str, ...], forms: str, place: Path, keep: Path | None
) -> Iterator[str]:
    """Run some folders with all commands; one line of JSON a run."""
    for folder, name, odd in runs:
        home = write_folder(place / f"{folder}-{len(list(place.iterdir()))}", folder, odd)
        os.chdir(home)
        for run in asked(folder, name, odd, commands, forms):
            outcomes, told, took = ask(run, home)
            if keep:
                file = (
                    keep
                    / folder
                    / name.replace("/", "_")
                    / f"{run.command}{'.json' if '--json' in run.words else ''}.txt"
                )
                file.parent.mkdir(parents=True, exist_ok=True)
                with file.open("a", encoding="utf-8") as to:
                    to.write(f"$ xover {run.command} {' '.join(run.words)}   ({took:.1f} s)\n{told}\n")
            fault = told.strip().splitlines()[-1] if set(outcomes) & set(OUTCOMES[3:]) and told.strip() else ""
            if fault:
                what = f"{folder} {name}: {run.command} {' '.join(run.words[1:])} [{', '.join(outcomes)}]"
                print(f"{what} {took:.1f} s {fault[-300:]}", flush=True)
            yield json.dumps([run.command, outcomes, round(took, 2)])
        os.chdir("/")
        shutil.rmtree(home)


def main() -> int:
    """Run a share, print the counts; status 1 where a fault, a warning or a long run was met."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", action="append", choices=FOLDERS, help="only this example (may be repeated)")
    parser.add_argument("--odd", default="", help="only oddities whose name matches this pattern")
    parser.add_argument("--command", action="append", choices=ASKED, help="only this command (may be repeated)")
    parser.add_argument("--skip", action="append", choices=ASKED, default=[], help="not this command")
    parser.add_argument("--share", default="1/1", help="part of all folders: 2/8 is each eighth from the second on")
    parser.add_argument("--form", choices=FORMS, default="both", help="text, JSON, or both")
    parser.add_argument("--keep", type=Path, help="a folder for what was printed")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    commands = tuple(c for c in given.command or ASKED if c not in given.skip)
    first, step = (int(n) for n in given.share.split("/"))
    every = [(f, n, o) for f in given.folder or FOLDERS for n, o in oddities(FOLDERS[f][1]) if re.search(given.odd, n)]
    mine = every[first - 1 :: step]
    keep = given.keep.resolve() if given.keep else None
    os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
    import xover.cli.main  # noqa: F401 (once, before the fork)

    counts: dict[str, Counter[str]] = {c: Counter() for c in commands}
    slowest: Counter[str] = Counter()
    faults = 0
    with tempfile.TemporaryDirectory() as scratch:
        pids = []
        for number in range(given.processes):
            if (pid := os.fork()) == 0:
                signal.signal(signal.SIGINT, signal.SIG_DFL)
                place = Path(scratch) / str(number)
                place.mkdir()
                with Path(f"{place}.log").open("w", encoding="utf-8") as to:
                    for line in share_of(mine[number :: given.processes], commands, given.form, place, keep):
                        print(line, file=to, flush=True)
                os._exit(0)
            pids.append(pid)
        try:
            for pid in pids:
                os.waitpid(pid, 0)
        except KeyboardInterrupt:
            print("stopped: counted so far")
            for pid in pids:
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGTERM)
        for log in Path(scratch).glob("*.log"):
            for line in log.read_text(encoding="utf-8").splitlines():
                command, outcomes, took = json.loads(line)
                counts[command].update(outcomes)
                slowest[command] = max(slowest[command], took)
                faults += bool(set(outcomes) & set(OUTCOMES[3:]))
    print(f"{len(mine)} folders of {len(every)}")
    print(f"{'':12}" + "".join(f"{o:>22}" for o in OUTCOMES) + f"{'slowest s':>12}")
    for command, found in counts.items():
        print(f"{command:12}" + "".join(f"{found[o]:>22}" for o in OUTCOMES) + f"{slowest[command]:>12}")
    total = sum(counts.values(), Counter())
    print(f"{'all':12}" + "".join(f"{total[o]:>22}" for o in OUTCOMES))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
