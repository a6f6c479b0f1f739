"""Make the invented stock list `stock.csv`.

    python make_stock.py [FOLDER]

FOLDER is where the list is written, by default the folder that holds this script. No such shop exists: values,
ratings and losses are those of common parts, prices follow a formula, and a second run gives the same bytes.

Nothing of xover is imported. Air coils are wound as Brooks coils (square cross section c by c, mean radius 1.5 c,
L = 1.6994e-6 a N^2 with a in metres): H. B. Brooks, 1931, from memory; the constant is the published one.
"""

from __future__ import annotations

import csv
import io
import math
import sys
from collections.abc import Iterator
from pathlib import Path

HEADER = "kind,value,tolerance,price,watts,volts,dcr_ohm,esr_ohm,df,core,maker_code,quantity"
E6 = (10, 15, 22, 33, 47, 68)
E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)

BROOKS_H_PER_M = 1.6994e-6
COPPER_OHM_M = 1e-6 / 58  # IEC 60028, at 20 C
COPPER_KG_M3 = 8890.0  # IEC 60028
ENAMELLED = 1.07  # outer over bare diameter

# What is not there as often as one likes, by maker code.
AT_HAND = {
    "film 4.7uF 250V": "6",
    "film 6.8uF 250V": "1",
    "film 10uF 400V 2%": "2",
    "film 3.3uF 400V 2%": "0",
    "electrolytic 47uF 100V": "4",
    "electrolytic 100uF 100V": "1",
    "wirewound 8.2 10W": "3",
    "metal oxide 2.2 10W 1%": "2",
    "air coil 0.33mH 1.4mm": "2",
    "air coil 1.8mH 1.0mm": "3",
    "iron coil 3.3mH": "0",
}

Row = dict[str, str]


def values(series: tuple[int, ...], low: float, high: float) -> list[float]:
    """Values of a series from `low` to `high`, as written in decimals."""
    decades = range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1)
    every = [float(f"{m}e{d - 1}") for d in decades for m in series]
    return [v for v in every if low <= v <= high]


def number(value: float) -> str:
    """A decimal as a price list prints it."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


def films() -> Iterator[Row]:
    """Film capacitors: E12 to 22 uF, E6 above, and some of 2 %."""
    wide = values(E12, 0.1, 22) + [v for v in values(E6, 22, 100) if v > 22]
    for volts, factor, highest in ((250, 1.0, 100.0), (400, 1.3, 33.0)):
        for microfarad in (v for v in wide if v <= highest):
            row = {
                "kind": "film",
                "value": f"{number(microfarad)}uF",
                "tolerance": "5%",
                "price": f"{factor * (0.80 + 0.95 * microfarad**0.9):.2f}",
                "volts": str(volts),
                "df": "0.0005",
                "maker_code": f"film {number(microfarad)}uF {volts}V",
            }
            if microfarad >= 1:
                row["esr_ohm"] = f"{0.005 + 0.005 / microfarad**0.5:.4f}"
            yield row
    for microfarad in values(E6, 1, 22):
        yield {
            "kind": "film",
            "value": f"{number(microfarad)}uF",
            "tolerance": "2%",
            "price": f"{2.20 + 2.30 * microfarad**0.9:.2f}",
            "volts": "400",
            "esr_ohm": f"{0.004 + 0.003 / microfarad**0.5:.4f}",
            "df": "0.0003",
            "maker_code": f"film {number(microfarad)}uF 400V 2%",
        }


def electrolytics() -> Iterator[Row]:
    """Non-polar electrolytic capacitors."""
    for microfarad in values(E12, 2.2, 100) + [v for v in values(E6, 100, 330) if v > 100]:
        yield {
            "kind": "electrolytic",
            "value": f"{number(microfarad)}uF",
            "tolerance": "10%",
            "price": f"{0.55 + 0.06 * microfarad**0.75:.2f}",
            "volts": "100",
            "df": "0.05",
            "maker_code": f"electrolytic {number(microfarad)}uF 100V",
        }


def resistors() -> Iterator[Row]:
    """Wirewound ones of 5 % for 5 and 10 W, metal oxide of 1 %."""
    for watts, price in ((5, 0.45), (10, 0.70)):
        for ohm in values(E12, 0.1, 1000):
            yield {
                "kind": "resistor",
                "value": number(ohm),
                "tolerance": "5%",
                "price": f"{price:.2f}",
                "watts": str(watts),
                "maker_code": f"wirewound {number(ohm)} {watts}W",
            }
    for ohm in values(E24, 0.22, 47):
        yield {
            "kind": "resistor",
            "value": number(ohm),
            "tolerance": "1%",
            "price": "2.40",
            "watts": "10",
            "maker_code": f"metal oxide {number(ohm)} 10W 1%",
        }


def brooks_coil(henry: float, wire_m: float) -> tuple[float, float]:
    """DC resistance in ohm and copper in kg of a Brooks coil, its turns packed in squares."""
    pitch = ENAMELLED * wire_m
    # L = B 1.5 c N^2 with N = (c / pitch)^2
    side = (henry * pitch**4 / (1.5 * BROOKS_H_PER_M)) ** 0.2
    turns = (side / pitch) ** 2
    length = 2 * math.pi * 1.5 * side * turns
    area = math.pi * wire_m**2 / 4
    return COPPER_OHM_M * length / area, COPPER_KG_M3 * length * area


def coils() -> Iterator[Row]:
    """Air coils of three wires, and coils on iron cores."""
    for millimetre in (0.7, 1.0, 1.4):
        for millihenry in values(E12, 0.1, 10):
            ohm, kilogram = brooks_coil(millihenry * 1e-3, millimetre * 1e-3)
            yield {
                "kind": "coil",
                "value": f"{number(millihenry)}mH",
                "tolerance": "5%",
                "price": f"{2.50 + 28 * kilogram:.2f}",
                "dcr_ohm": f"{ohm:.3f}",
                "core": "air",
                "maker_code": f"air coil {number(millihenry)}mH {millimetre}mm",
            }
    for millihenry in values(E12, 1, 10):
        yield {
            "kind": "coil",
            "value": f"{number(millihenry)}mH",
            "tolerance": "10%",
            "price": f"{9 + 1.6 * millihenry:.2f}",
            "dcr_ohm": f"{0.1 * millihenry**0.6:.3f}",
            "core": "iron",
            "maker_code": f"iron coil {number(millihenry)}mH",
        }


def make_stock(folder: Path) -> None:
    """Write `stock.csv` into `folder`."""
    text = io.StringIO()
    text.write("# Invented example data: no such shop, parts or prices exist. Made by make_stock.py.\n")
    table = csv.DictWriter(text, HEADER.split(","), restval="", lineterminator="\n")
    table.writeheader()
    for part in (films, electrolytics, resistors, coils):
        for row in part():
            table.writerow({**row, "quantity": AT_HAND.get(row["maker_code"], "")})
    (folder / "stock.csv").write_text(text.getvalue(), encoding="utf-8", newline="")


if __name__ == "__main__":
    make_stock(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
