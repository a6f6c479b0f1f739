"""What `freeze.py` asks: every command on every example, in all its variants, and what it is given that is wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from freeze_wrong import (
    HALL,
    LEFT,
    NEEDED,
    RIGHT,
    SPEAKERS,
    STOCK,
    STUDIO,
    SWEEP,
    WITH_NETWORK,
    WITH_PLOT,
    WITH_RANGE,
    WRONG,
    WRONG_NETWORK,
    WRONG_PLOT,
    WRONG_RANGE,
    WRONG_SPEAKER,
)


@dataclass(frozen=True)
class Run:
    family: str
    arguments: tuple[str, ...]
    environment: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> str:
        """Name of its file: the arguments, in letters that any file system takes."""
        words = " ".join((*self.arguments, *(v for k, v in self.environment if k == "COMP_WORDS")))
        for long, short in ((LEFT, "LEFT"), (RIGHT, "RIGHT"), (HALL, "HALL"), (STUDIO, "STUDIO")):
            words = words.replace(long, short)
        return re.sub(r"[^A-Za-z0-9.,=@+-]+", "_", words).strip("_")[:150] or "nothing"


# What every command on a speaker is asked, `{}` standing for the folder. A line with `|json` is asked for JSON as well.
PLAIN: dict[str, tuple[str, ...]] = {
    "check": ("check {} |json", "check {} --strict"),
    "predict": (
        "predict {} |json",
        "predict {} --network original |json",
        "predict {} --band 200..10k",
        "predict {} --output-ohm 1.6 --from 100 --to 10k --per-octave 12 |json",
        "predict {} --plot sum.svg",
    ),
    "load": (
        "load {} |json",
        "load {} --network original --strict",
        "load {} --output-ohm 2 --from 50 --to 5k --per-octave 6 |json",
        "load {} --plot load.svg",
    ),
    "schematic": (
        "schematic {} --json",
        "schematic {} --network found --against original -o drawn.svg",
        "schematic {} -n original",
    ),
    "angles": (
        "angles {} |json",
        "angles {} --vertical -20,-10,0,10,20 --plot angles.svg",
        "angles {} --horizontal 0,20 --distance 2.5 --per-octave 12 |json",
    ),
    "formula": ("formula {} |json", "formula {} --numbers -n original"),
    "sensitivity": ("sensitivity {} |json", "sensitivity {} --network original --plot parts.svg"),
    "condition": (
        "condition {} |json",
        "condition {} --assume |json",
        "condition {} --strict --limit 0.5",
        "condition {} --plot condition.svg",
    ),
    "stress": (
        "stress {} |json",
        "stress {} --network original --power 60W@8 --strict",
        "stress {} --volts 10 --crest 2 --spectrum pink |json",
        "stress {} --plot stress.svg",
    ),
    "lamps": ("lamps {} |json", "lamps {} --volts 1 --volts 10 --spectrum pink"),
    "tolerance": (
        "tolerance {} --builds 2000 |json",
        "tolerance {} --network original --limit 1 --yield 90% --strict --builds 1000",
        "tolerance {} --builds 500 --seed 7 --distribution normal --match 2% --plot builds.svg",
    ),
    "crosstalk": ("crosstalk {} |json", "crosstalk {} --limit 0.2 --plot coupling.svg"),
    "refresh": (
        "refresh {} |json",
        f"refresh {{}} {STOCK} |json",
        f"refresh {{}} {STOCK} --replace all --capacitors any --tolerance 0.3 --plot refresh.svg",
        "refresh {} --replace needed --write refreshed",
    ),
    "redesign": ("redesign {} --starts 1 --circuit present |json",),
    "bypass": ("bypass {} |json", "bypass {} --plot bypass.svg --strict"),
    "decide": (
        f"decide {{}} {STOCK} |json",
        "decide {} --skip redesign --why",
        "decide {} --skip redesign --take refresh --all",
    ),
    "report": ("report {} --processes 1 -o page.html --json",),
    "spice": ("spice {} |json", "spice {} --network original --output left.cir --loss-at 1k"),
}

# Runs that stand alone.
SINGLE: dict[str, tuple[str, ...]] = {
    "root": ("", "--help", "--version", "-h", "nosuch", "predikt", "--nosuch"),
    "predict": (
        f"predict {LEFT}/speaker.toml",
        f"predict {LEFT} --plot sum.png",
        f"predict {LEFT} --plot examples/stock.csv",
        f"predict {LEFT} --band 200..10k --json",
    ),
    "lamps": ("lamps made/lamp |json", "lamps made/lamp --volts 3"),
    "check": ("check made/started |json", "check made/twisted |json", "check made/bridged --strict"),
    "bypass": (
        f"bypass {LEFT} --frequency 3k --slope LR4 |json",
        f"bypass {STUDIO} --frequency 400,3k --slope B3 --gain woofer=-2 --sample-rate 96k |json",
        "bypass made/bridged --strict",
    ),
    "crosstalk": (f"crosstalk {STUDIO} --couple L3:L4=2% |json", f"crosstalk {LEFT} --couple L1:L2=0.05"),
    "schematic": (
        "schematic two-way-second-order -o drawn.svg",
        "schematic three-way-third-order --json",
        f"schematic {LEFT} --against examples/attic-two-way/original.cir -o drawn.svg",
    ),
    "formula": (
        "formula two-way-second-order |json",
        "formula two-way-second-order --of woofer",
        "formula two-way-second-order --of load --numbers",
        "formula two-way-second-order --latex",
        "formula two-way-horn-autotransformer",
        "formula two-way-series-first-order |json",
        "formula examples/attic-two-way/original.cir",
    ),
    "infer": (
        *(f"infer {s} --impedance {SWEEP[s]} |json" for s in SPEAKERS),
        f"infer {LEFT} --impedance {SWEEP[LEFT]} --write inferred",
        f"infer {LEFT} --impedance {SWEEP[LEFT]} --prior usual --noise 0.5% --gain 2% --scale 1% --lead-ohm 0.1",
        f"infer {LEFT} --impedance {SWEEP[LEFT]} --no-prior |json",
        f"infer {LEFT} --impedance {LEFT}/terminals-rebuilt.csv --strict",
        f"infer {LEFT} --impedance {LEFT}/terminals-rebuilt.csv --try --force-numbers --json",
    ),
    "verify": (
        *(f"verify {s} --network original --impedance {SWEEP[s]} |json" for s in SPEAKERS),
        f"verify {LEFT} --network original --impedance {LEFT}/terminals-rebuilt.csv |json",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --response {LEFT}/whole-found.csv --strict",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --response {LEFT}/whole-found.csv --response-band 300..10k --json",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --against {SWEEP[RIGHT]} |json",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --band 50..10k --noise 1% --plot verify.svg",
    ),
    "compare": (
        f"compare {LEFT}:found {LEFT}:original |json",
        f"compare {LEFT}:found {LEFT}:original --of impedance |json",
        f"compare {LEFT} {RIGHT} --match none --threshold 1 --strict",
        f"compare {LEFT}/woofer-response.csv {RIGHT}/woofer-response.txt |json",
        f"compare {LEFT}/woofer-impedance.csv {RIGHT}/woofer-impedance.txt |json",
        f"compare {LEFT}/whole-found.csv {LEFT}:found --match 500..5k --plot both.svg",
        f"compare {HALL} {STUDIO}",
        f"compare {SWEEP[STUDIO]} {STUDIO}:found --json",
    ),
    "pad": (
        f"pad {LEFT} tweeter --down 4 |json",
        f"pad {HALL} horn --down 6 --watts 20 |json",
        f"pad {STUDIO} mid --down 3 -n original --from 500 --to 4k",
        "pad --control rheostat --track 16 --setting 0.4 --ohm 8 |json",
        "pad --control potentiometer --track 20 --setting 0.5 --ohm 8 --watts 10 |json",
        "pad --control l-pad --track 8 --setting 0.7 --ohm 8",
        f"pad {LEFT} tweeter --control potentiometer --read-series 6 --read-other 9 |json",
        "pad --down 3 --ohm 8",
    ),
    "coil": (
        "coil 1.8mH |json",
        "coil 1.8mH --wire 1.0mm |json",
        "coil 0.33mH --wire AWG18 --inner 25mm --length 20mm",
        "coil 2.2mH --dcr 0.5",
        "coil --inner 25mm --outer 50mm --length 20mm --turns 200 --wire 1mm |json",
        "coil --inner 25mm --outer 50mm --length 20mm --wire 0.8mm --dcr 0.6",
        "coil 1.8mH --beside 0.33mH --distance 80mm |json",
        "coil 1.8mH --wire 1.0mm --beside 0.33mH --distance 60mm --angle 90 --raised 10mm",
        "coil 1mH --beside 1mH |json",
    ),
    "values": (
        "values 4.73uF |json",
        "values 4.73uF --series E12 --pairs --tolerance 5% |json",
        f"values 13uF {STOCK} --pairs --needed 2 --volts 250 |json",
        f"values 6.8ohm {STOCK} --watts 10",
        f"values 1.8mH {STOCK} --core air --most 3",
        f"values 10uF {STOCK} --dielectric electrolytic --pairs",
        "values 4R7 --series E24 |json",
        "values 1.83mH --series E96 --max-error 0.1% --strict",
        "values 4.7 --kind resistor",
    ),
    "capacitor": (
        "capacitor 4.7uF |json",
        "capacitor 4.77uF --esr 1.7@1kHz --esr 0.28@10kHz --meter constant-current --reading 5.41uF |json",
        "capacitor 10uF --df 5%@1kHz --kind electrolytic --amplifier 60W@8 --bypass 0.1uF |json",
        "capacitor 10uF --q 20@1k --meter rc --through 10k",
        "capacitor 22uF --df 0.1@100 --meter lcr-parallel --meter-hz 100 --kind paper",
        "capacitor 4.7uF --meter lcr --reading 4.9uF --kind film",
    ),
    "jig": (
        "jig made/ratio.csv --reference 10 |json",
        "jig made/ratio.csv --reference 9.96 --leads 0.2 --both made/both.csv --known made/known.csv=22.1 -o z.csv",
        "jig made/across.csv --reference 10 --across resistor --both made/both.csv |json",
        "jig made/ratio.csv --reference 10 --known made/known.csv=30 --json",
    ),
    "new": (
        "new my-speaker |json",
        "new --list |json",
        "new my-speaker --circuit three-way-second-order",
        "new my-speaker --circuit two-way-horn-autotransformer",
        "new examples",
    ),
    "redesign": (
        f"redesign {LEFT} {STOCK} --starts 1 --circuit two-way-second-order-zobel --write better --band 300:15k",
        f"redesign {LEFT} --starts 1 --circuit present --replace tweeter={RIGHT} --slope LR2 --crossover 2.5k --json",
        f"redesign {STUDIO} --starts 1 --circuit present --tilt -0.3 --weights slopes=0.3 --most-cost 100 --plot r.svg",
    ),
    "decide": (f"decide {LEFT} --seed 2 --most-cost 20 --skip redesign --plot decide.svg --strict",),
    "report": (
        f"report {LEFT} {STOCK} --mate {RIGHT} --processes 1",
        f"report {HALL} -n original -n found --processes 1 -o page.html",
        "report made/started --processes 1 -o page.html",
    ),
    "spice": ("spice made/lamp",),
}

COMPLETED = (
    "xover ",
    "xover re",
    f"xover predict {LEFT} --network ",
    f"xover pad {LEFT} ",
    "xover new --circuit two-way-s",
    "xover values 1uF --series ",
    "xover capacitor 1uF --kind ",
    f"xover infer {LEFT} --prior ",
    f"xover redesign {LEFT} --circuit ",
    f"xover decide {LEFT} --skip ",
    f"xover stress {LEFT} --spectrum ",
    f"xover refresh {LEFT} --renew ",
)
COMMANDS = tuple(dict.fromkeys((*PLAIN, *SINGLE, *WRONG)))


def asked(line: str) -> Iterator[tuple[str, ...]]:
    line, both, _ = line.partition("|json")
    words = tuple(w.strip("'") for w in re.findall(r"'[^']*'|\S+", line))
    yield words
    if both:
        yield (*words, "--json")


def runs() -> Iterator[Run]:
    """Every run, each once, those that take long first."""
    lines = [(f, line.format(s)) for f, many in PLAIN.items() for line in many for s in SPEAKERS]
    lines += [(f, line) for f, many in SINGLE.items() for line in many]
    lines += [(f, f"{f} --help") for f in COMMANDS if f != "root"]
    speakers = [f for f in PLAIN if f not in ("formula", "schematic")] + ["infer", "verify"]
    wrong = [
        (f, line.format(f) + (NEEDED.get(f, "") if line != "{}" else "")) for f in speakers for line in WRONG_SPEAKER
    ]
    wrong += [(f, line.format(f) + NEEDED.get(f, "")) for f in WITH_NETWORK for line in WRONG_NETWORK]
    wrong += [(f, line.format(f)) for f in WITH_RANGE for line in WRONG_RANGE if f != "compare"]
    wrong += [("compare", line.format("compare").replace("LEFT", "LEFT RIGHT")) for line in WRONG_RANGE]
    wrong += [(f, line.format(f)) for f in WITH_PLOT for line in WRONG_PLOT]
    wrong += [(f, line) for f, many in WRONG.items() for line in many]
    lines += [(f, line.replace("LEFT", LEFT).replace("RIGHT", RIGHT)) for f, line in wrong]
    every = [Run(f, words) for f, line in lines for words in asked(line)]
    every += [Run("complete", (), (("COMP_CWORD", str(len(w.split(" ")) - 1)), ("COMP_WORDS", w))) for w in COMPLETED]
    slow = ("report", "redesign", "decide")
    return iter(sorted(dict.fromkeys(every), key=lambda r: slow.index(r.family) if r.family in slow else 9))
