"""Numbers at and beyond the ends of what can be read, in every kind of file: counts by outcome.

    PYTHONPATH=tests:. python tests/benchmarks/extreme_files.py [netlist] [speaker] [table] [stock] [touchstone] [share]

Each number of a small speaker folder is exchanged in its turn: in the cards of its network and in .param, in every key
of speaker.toml that takes one, in a row of a table, in a stock list, in a Touchstone file. Each time the folder is told
by commands that read that number. All is well as in extreme_numbers.py. With a share, such as 0.1, that part is drawn.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

from benchmarks.extreme_numbers import run as run_line
from benchmarks.extreme_numbers import told

EXAMPLES = Path(__file__).parents[2] / "examples"
NOTHING = ("1e308", "-1e308", "1e-300", "5e-324", "-5e-324", "1e999", "nan", "inf", "1e40", "1e-40")
ENDS = ("-0.0", "0", "-1", "1e-30", "1e-12", "1e-9", "1e-6", "1e-3", "1", "1e3", "1e5", "1e6", "1e9", "1e18", "1e30")
CARDS = """* Invented: a small two-way
.param a={A}
L1 in w 1.8mH dcr=0.4 core=air amps=5 tol=5%
C1 w 0 8uF df=0.06@1kHz volts=50 kind=electrolytic
Xlow w 0 woofer
C2 in t 6uF loss=2@1kHz,1@10kHz
L2 t 0 0.33mH dcr=0.3
R1 t p 6 watts=5
R2 p 0 15
R3 p q kind=lamp cold=1 hot=10
C3 q 0 1uF esr=1
K1 L1 L2 0.02
Xhigh p 0 tweeter
.end
"""
PLACES = {
    "R1 t p 6": ("R1 t p {}", "R1 t p {} unusual=yes", "R1 t p {{a*{}}}"),
    "L1 in w 1.8mH": ("L1 in w {}", "L1 in w {} unusual=yes"),
    "C1 w 0 8uF": ("C1 w 0 {}", "C1 w 0 {} unusual=yes", "C1 w 0 {}uF unusual=yes"),
    "C2 in t 6uF": ("C2 in t {} unusual=yes",),
    "loss=2@1kHz,1@10kHz": ("loss={}@1kHz", "loss=2@{}", "loss={}@1kHz,1@10kHz", "loss=2@{},1@10kHz"),
    "df=0.06@1kHz": ("df={}", "df=0.06@{}", "df={}@100"),
    "dcr=0.4": ("dcr={}",),
    "amps=5": ("amps={}",),
    "tol=5%": ("tol={}", "tol={}%"),
    "volts=50": ("volts={}",),
    "watts=5": ("watts={}",),
    "esr=1": ("esr={}",),
    "cold=1": ("cold={}",),
    "hot=10": ("hot={}",),
    "L2 0.02": ("L2 {}",),
    "a={A}": ("a={}", "a={{{}*1e20}}", "a={{1/{}}}"),
}
SPEAKER = """title = "Invented"
timing = "common"
[amplifier]
minimum_load_ohm = 4
output_ohm = 0.05
rated_power_w = 60
rated_load_ohm = 8
[listening]
level_db = 86
distance_m = 2.5
headroom_db = 12
[drivers.woofer]
impedance = "woofer-impedance.csv"
response = "woofer-response.csv"
phase = "measured"
position_mm = [0, -95, -24]
diameter_mm = 165
re_ohm = 5.6
delay_us = 3
delay_uncertainty_us = 1
gain_db = 0.5
[drivers.tweeter]
position_mm = [0, 70, -3]
diameter_mm = 25
[drivers.tweeter.datasheet]
re_ohm = 5.4
fs_hz = 1010
qms = 2.2
qes = 1.1
le_mh = 0.03
sensitivity_db = 90
[networks.found]
circuit = "found.cir"
[networks.original]
circuit = "found.cir"
[bypass]
frequency_hz = 3000
slope = "LR4"
[means]
money = 100
channels = 4
"""
TOLD = ("check", "predict", "load", "stress", "sensitivity", "formula")
STOCK = "kind,value,tolerance,price,watts,volts,dcr_ohm,esr_ohm,df,quantity\n"
STOCK_ROWS = {
    "capacitor": ("4.7uF", "5%", "5", "", "250", "", "0.01", "0.001", "4"),
    "coil": ("0.33mH", "5%", "5", "", "", "0.3", "", "", "4"),
    "resistor": ("6.8", "5%", "1", "10", "", "", "", "", "4"),
}


def folder(parent):
    """A speaker that every command tells something of."""
    there = parent / "speaker"
    shutil.rmtree(there, ignore_errors=True)
    there.mkdir()
    for name in ("woofer-impedance.csv", "woofer-response.csv"):
        rows = (EXAMPLES / "attic-two-way" / "left" / name).read_text().splitlines()
        head = [r for r in rows if not r[:1].isdigit()]
        (there / name).write_text("\n".join([*head, *rows[len(head) :: 8]]) + "\n")
    (there / "found.cir").write_text(CARDS.replace("{A}", "1"))
    (there / "speaker.toml").write_text(SPEAKER)
    return there


def netlist(there):
    for place, shapes in PLACES.items():
        for shape in shapes:
            for text in (*NOTHING, *ENDS):
                (there / "found.cir").write_text(CARDS.replace(place, shape.format(text), 1).replace("{A}", "1"))
                yield from (
                    (c, (str(there),)) for c in ("predict", "load", "stress", "formula", "spice", "sensitivity")
                )


def speaker(there):
    for number, line in enumerate(SPEAKER.splitlines()):
        key, equals, value = line.partition(" = ")
        if not equals or '"' in value:
            continue
        for text in (*NOTHING, *ENDS):
            numbers = [text] if "[" not in value else [f"[{text}, 0, 0]", f"[0, 0, {text}]"]
            for shown in numbers:
                lines = SPEAKER.splitlines()
                lines[number] = f"{key} = {shown}"
                (there / "speaker.toml").write_text("\n".join(lines) + "\n")
                more = ("angles",) if "mm" in key or key == "distance_m" else ("bypass",) if "frequency" in key else ()
                yield from ((c, (str(there),)) for c in (*TOLD, *more))


def table(there):
    for name in ("woofer-impedance.csv", "woofer-response.csv"):
        rows = (there / name).read_text().splitlines()
        at = len(rows) // 2
        for column in range(3):
            for text in (*NOTHING, *ENDS):
                cells = rows[at].split(",")
                cells[column] = text
                (there / name).write_text("\n".join([*rows[:at], ",".join(cells), *rows[at + 1 :]]) + "\n")
                yield from ((c, (str(there),)) for c in ("check", "predict", "load", "stress"))
        (there / name).write_text("\n".join(rows) + "\n")


def stock(there):
    path = there / "stock.csv"
    target = {"capacitor": "4.5uF", "coil": "0.35mH", "resistor": "7ohm"}
    for kind, row in STOCK_ROWS.items():
        for column, cell in enumerate(row):
            for text in (*NOTHING, *ENDS) if cell else ():
                cells = [kind, *row]
                cells[column + 1] = text
                path.write_text(STOCK + ",".join(cells) + "\n" + ",".join([kind, *row]) + "\n")
                yield "values", (target[kind], "--stock", str(path), "--pairs")


def touchstone(there):
    rows = (EXAMPLES / "hall-horn-two-way" / "horn-impedance.z1p").read_text().splitlines()
    head = [r for r in rows if r[:1] in "!#"]
    rows = [*head, *[r for r in rows if r[:1] not in "!#"][::8]]
    at = len(rows) // 2
    text = SPEAKER.replace("woofer-impedance.csv", "woofer.z1p")
    (there / "speaker.toml").write_text(text)
    for column in range(3):
        for number in (*NOTHING, *ENDS):
            cells = rows[at].split()
            cells[column] = number
            (there / "woofer.z1p").write_text("\n".join([*rows[:at], " ".join(cells), *rows[at + 1 :]]) + "\n")
            yield from ((c, (str(there),)) for c in ("check", "predict", "load"))
    for head_line in (f"# Hz Z RI R {n}" for n in (*NOTHING, *ENDS)):
        (there / "woofer.z1p").write_text("\n".join([head_line, *[r for r in rows if r[:1] not in "!#"]]) + "\n")
        yield "load", (str(there),)


KINDS = {"netlist": netlist, "speaker": speaker, "table": table, "stock": stock, "touchstone": touchstone}


def outcomes(kind, parent, share=1.0, seed=1):
    """One outcome for each that was tried."""
    rng = random.Random(f"{seed}{kind}")
    for command, line in KINDS[kind](folder(parent)):
        if rng.random() < share:
            yield run_line(command, line)


def main(kinds, share):
    total: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as parent:
        for kind in kinds:
            count: Counter[str] = Counter()
            seen: Counter[str] = Counter()
            for o in outcomes(kind, Path(parent), share):
                count["wrong" if o.wrong else f"status {o.status}"] += 1
                if o.wrong:
                    seen[f"{o.line[0]} {o.status} {o.wrong[:170]}"] += 1
            total += count
            print(f"{kind:12} {count.total():6}  {told(count)}", flush=True)
            for what, times in seen.most_common(60):
                print(f"    {times:4} {what}")
    print(f"all {total.total()}: {told(total)}")
    return 1 if total["wrong"] else 0


if __name__ == "__main__":
    wanted = [w for w in sys.argv[1:] if w in KINDS] or list(KINDS)
    shares = [float(w) for w in sys.argv[1:] if w not in KINDS]
    sys.exit(main(wanted, shares[0] if shares else 1.0))
