"""Speaker folders and options as those make them who mean harm; files beside the folder that no command may tell of."""

import os
import random
import re
import shutil
import stat
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from invented.mangled import mangle, thinned
from xover.declare import Grid, asked_of, question_of
from xover.studies import HOMES, question

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SPEAKERS = {"attic-two-way": "left", "hall-horn-two-way": "", "studio-three-way": ""}
STOCK = """kind,value,tolerance,price
film,4.7uF,5%,5
coil,0.33mH,5%,4
R,2.2,5%,1
R,4.7,5%,1
electrolytic,10uF,10%,2
"""
TOUCHSTONE = "! invented\n# Hz Z RI R 1\n" + "".join(f"{20 * 1.3**k:.1f} {6 + k % 5} {k % 3}\n" for k in range(24))
FEW = ("--per-octave", "6")
OF_A_FOLDER = {
    ("predict", *FEW): 10,
    ("load", *FEW): 8,
    ("stress", *FEW): 3,
    ("sensitivity", *FEW): 3,
    ("angles",): 2,
    ("condition",): 3,
    ("lamps",): 2,
    ("crosstalk",): 2,
    ("check",): 5,
    ("spice",): 2,
    ("formula",): 1,
    ("tolerance",): 1,
    ("bypass",): 1,
    ("decide",): 0.3,
    ("schematic", "-o", "OUT"): 2,
    ("refresh", "--stock", "STOCK", "--write", "built"): 1,
    ("infer", "TERMINALS"): 1,
    ("verify", "--impedance", "TERMINALS"): 1,
    ("compare", "IMPEDANCE", "TERMINALS"): 2,
}
"""What may be asked of a folder, and how often: what costs much is asked seldom."""
LEADING_OUT = (
    "../../private/diary.txt",
    "../beside.txt",
    "../privat-letter.csv",
    "/etc/passwd",
    "../private-letters.cs",
    "link.txt",
    "linked/diary.txt",
    "pipe",
    ".",
    "..",
    "/dev/zero",
    ".hidden.csv",
    "a" * 300,
    "x\u202ecsv",
    "speaker.toml",
    "loop",
)


@dataclass(frozen=True)
class Attempt:
    """The words of a command, and the names that it may write."""

    kind: str
    words: list[str]
    writes: tuple[str, ...] = ()

    def may_write(self, name: str) -> bool:
        return name in self.writes


class Box:
    """A folder of a stranger's in a folder above, with private files beside; rewritten for each input."""

    def __init__(self, scratch: Path) -> None:
        self.root, self.beside = scratch / "root", scratch / "said"
        self.above, self.home, self.scratch, self.work = (self.root / n for n in ("box", "home", "tmp", "work"))
        self.secrets = ("dear diary 4711", "a letter of 1987", "private-letter.csv")
        self.beside.mkdir(exist_ok=True)
        self.speaker = self.above
        self.fill(random.Random(0))

    def fill(self, rng: random.Random, name: str = "") -> None:
        """Make everything anew, of one of the examples."""
        shutil.rmtree(self.root, ignore_errors=True)
        for folder in (self.above, self.home, self.scratch, self.work, self.root / "private"):
            folder.mkdir(parents=True)
        (self.root / "private" / "diary.txt").write_text("dear diary 4711\n" * 20)
        (self.above / "beside.txt").write_text("dear diary 4711\n20 6 dear diary 4711\n" * 20)
        (self.above / "private-letter.csv").write_text("a letter of 1987\n" * 20)
        self.name = name or rng.choice([*SPEAKERS, "attic-two-way"])
        self.speaker = self.above / (SPEAKERS[self.name] or "speaker")
        self.speaker.mkdir()
        for path, data in example(self.name).items():
            ((self.above if path.startswith("../") else self.speaker) / Path(path).name).write_bytes(data)
        (self.speaker / "stock.csv").write_text(STOCK)
        (self.speaker / "extra.z1p").write_text(TOUCHSTONE)

    def contents(self) -> dict[str, tuple[int, bytes]]:
        """Kind and bytes of everything, by its name under the root."""
        found: dict[str, tuple[int, bytes]] = {}
        for folder, folders, files in os.walk(self.root):
            for name in (*folders, *files):
                path = os.path.join(folder, name)
                mode = os.lstat(path).st_mode
                data = os.readlink(path).encode() if stat.S_ISLNK(mode) else b""
                if stat.S_ISREG(mode):
                    with open(path, "rb") as stream:
                        data = stream.read()
                found[os.path.relpath(path, self.root)] = (mode, data)
        return found

    def words(self, of: tuple[str, ...]) -> list[str]:
        """The words of a command on this folder."""
        place = {
            "OUT": str(self.work / "out.svg"),
            "STOCK": str(self.speaker / "stock.csv"),
            "TERMINALS": str(next(iter(sorted(self.speaker.glob("terminals-found.*"))))),
            "IMPEDANCE": str(next(iter(sorted(self.speaker.glob("woofer-impedance.*"))))),
        }
        said = [place.get(word, word) for word in of]
        return said if of[0] == "compare" else [said[0], str(self.speaker), *said[1:]]

    def writes(self, of: tuple[str, ...]) -> tuple[str, ...]:
        """What such a command may write."""
        here = self.speaker.relative_to(self.root)
        if "--write" in of:
            return tuple(f"{here}/{name}" for name in ("built.cir", "speaker.toml", ".xover-undo"))
        return ("work/out.svg",) if "OUT" in of else ()

    def files(self) -> list[Path]:
        """What the commands read, speaker.toml and netlists more often than sweeps."""
        every = [p for p in sorted(self.speaker.iterdir()) if p.is_file()]
        return [p for p in every for _ in range(6 if p.suffix in (".toml", ".cir") else 1)]

    def honest(self) -> list[list[str]]:
        """Commands on whole folders, one example after the other; each fills the box before it is run."""
        return Honest(self)


class Honest(list):
    """Commands, made while they are walked: each example lies there when its commands are run."""

    def __init__(self, box: Box) -> None:
        self.box = box

    def __iter__(self):
        for name in SPEAKERS:
            self.box.fill(random.Random(0), name)
            for of in OF_A_FOLDER:
                if "--write" not in of and of[0] not in ("infer", "verify"):
                    yield self.box.words(of)


@cache
def example(name: str) -> dict[str, bytes]:
    """Names and bytes of an example's files, sweeps thinned; '../' before those of the folder above."""
    folder, found = EXAMPLES / name / SPEAKERS[name], {}
    for path in sorted(folder.iterdir()):
        found[path.name] = thinned(path.read_bytes()) if path.suffix not in (".toml", ".cir") else path.read_bytes()
    if SPEAKERS[name]:
        found |= {f"../{p.name}": p.read_bytes() for p in folder.parent.iterdir() if p.is_file()}
    return found


def some_command(rng: random.Random, box: Box, touched: str = "") -> Attempt:
    """A command on the folder, one that reads what was touched where there is one of its own."""
    own = {"stock.csv": "refresh", "terminals-found": "compare infer verify"}
    wanted = next((commands.split() for name, commands in own.items() if touched.startswith(name)), [])
    all_of = {of: share for of, share in OF_A_FOLDER.items() if not wanted or of[0] in wanted}
    of = rng.choices(list(all_of), list(all_of.values()))[0]
    more = ["--json"] if rng.random() < 0.15 and of[0] != "schematic" else []
    return Attempt("", [*box.words(of), *more], box.writes(of))


def _made(kind: str, attempt: Attempt) -> Attempt:
    return Attempt(kind, attempt.words, attempt.writes)


def mangled(rng: random.Random, box: Box) -> Attempt:
    """One file damaged as programs and people damage files."""
    path = rng.choice(box.files())
    path.write_bytes(mangle(path.read_bytes(), rng))
    return _made("mangled", some_command(rng, box, path.name))


# fmt: off
UNITS = (
    " ", "\t", "9", "0", '"', "'", "'''", '"""', "(", "((", "{", "{}", "{{", "[", "[[", "]", ",", ".", ";",
    "=", "\\", "-",
    "+", "e", "a", "a.", '"a".', "a=", "* ", "#", "# x\n", "+ \n", "+ a\n", "+\n", "\n", " = ", "nan ", "nan(",
    "1.#", "@",
    "1@1k,", "\u00e9", "\u202e", "\u0301", "20 6\n", "20 6 ", "20,6,", "1e9", "a = {", "a=[", "-(",
    "a.b.c=1\n", "[a.b]\n",
    "[[a]]\n", "real ", "imag ", "no ", "time ref ", "ohm ", "R ", "1:", "2020-01-01\n", "x20 6 1\n", "\\u0041",
)
# fmt: on


def grown(rng: random.Random, box: Box) -> Attempt:
    """A run of something, short or very long, somewhere in a file."""
    path = rng.choice(box.files())
    data, unit = path.read_bytes(), rng.choice(UNITS).encode()
    run = unit * (int(10 ** rng.uniform(1, 5.3)) // len(unit) + 1)
    where = rng.choice([0, len(data), rng.randrange(len(data) + 1), data.find(b"\n") + 1])
    path.write_bytes(data[:where] + rng.choice([b"", b"\n"]) + run + rng.choice([b"", b"\n", b"x\n"]) + data[where:])
    return _made("grown", some_command(rng, box, path.name))


# fmt: off
NUMBERS = (
    "1e308", "-1e308", "5e-324", "1e-300", "0", "-0", "-1", "1e999", "nan", "inf", "-inf", "1" * 400,
    "1" * 5000, "0.1" * 3,
    "0." + "0" * 400 + "1", "1e", "1e+", "0x10", "1_000", "true", "1.5.5", "1e15", "1e-15", "1e100", "9" * 18, "1MEG",
    "1e-3m", "4.7e-6F", "\u0664", "\u00bd", "1,5", "1;5", "+1", "--1", "1e5000", "1e-5000", "{1/3}",
)
# fmt: on
_NUMBER = re.compile(rb"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")


def numbers(rng: random.Random, box: Box) -> Attempt:
    """One number, or all of one column or file, beyond any use."""
    path = rng.choice(box.files())
    data, number = path.read_bytes(), rng.choice(NUMBERS).encode()
    found = [m.span() for m in _NUMBER.finditer(data)]
    chosen = found if rng.random() < 0.05 else rng.sample(found, min(len(found), rng.choice([1, 1, 1, 2, 9])))
    for start, end in sorted(chosen, reverse=True):
        data = data[:start] + number + data[end:]
    path.write_bytes(data)
    return _made("numbers", some_command(rng, box, path.name))


def _ladder(count: int) -> str:
    steps = "".join(f"L{k} {'in' if k == 0 else f'n{k - 1}'} n{k} 0.1mH\nC{k} n{k} 0 1uF\n" for k in range(count))
    return f"* ladder\n{steps}Xw n{count - 1} 0 woofer\n.end\n"


def _chain(count: int, times: int) -> str:
    chain = "".join(f".param a{k + 1}={'+'.join([f'a{k}'] * times)}\n" for k in range(count))
    return f"* chain\n.param a0=1\n{chain}R1 in w {{a{count}}}\nXw w 0 woofer\n"


def many(rng: random.Random, box: Box) -> Attempt:
    """More of a thing than any loudspeaker has."""
    count = int(10 ** rng.uniform(0.7, 4))
    toml, sweep = box.speaker / "speaker.toml", sorted(box.speaker.glob("woofer-impedance.*"))[0]
    netlist = box.speaker / "found.cir"
    what = rng.choice(
        ["drivers", "networks", "ladder", "chain", "coupled", "rows", "columns", "stock", "twice", "beside"]
    )
    if what == "drivers":
        few = count if rng.random() < 0.5 else min(count, 24)
        words = "".join(f"[drivers.d{k}]\nre_ohm = {4 + k % 7}\ndiameter_mm = 100\n" for k in range(few))
        toml.write_text(f"{toml.read_text()}\n{words}")
    elif what == "networks":
        words = "".join(f'[networks.n{k}]\ncircuit = "found.cir"\n' for k in range(count))
        toml.write_text(f"{toml.read_text()}\n{words}")
    elif what == "ladder":
        netlist.write_text(_ladder(min(count, 12) if rng.random() < 0.7 else count))
    elif what == "chain":
        netlist.write_text(_chain(min(count, 500), rng.choice([1, 2, 3, 9])))
    elif what == "coupled":
        few = min(count, 12) if rng.random() < 0.7 else min(count, 300)
        coupled = "".join(f"K{i}x{j} L{i} L{j} 0.01\n" for i in range(few) for j in range(i))
        netlist.write_text(_ladder(few).replace(".end", coupled))
    elif what == "rows":
        rows = "".join(f"{20 * 1.0005**k:.4f} {6 + k % 9} {k % 60 - 30}\n" for k in range(min(2 * count, 12_000)))
        sweep.write_text(f"Hz ohm deg\n{rows}")
    elif what == "columns":
        rows = "".join(f"{20 * 1.1**k:.3f} " + "6 " * count + "\n" for k in range(9))
        sweep.write_text(rows)
    elif what == "stock":
        rows = "".join(f"film,{1 + k % 997 / 100:.2f}uF,5%,{k % 9}\n" for k in range(count))
        (box.speaker / "stock.csv").write_text(STOCK + rows)
    elif what == "twice":
        lines = netlist.read_text().replace(".end", "").splitlines()
        copies = [re.sub(r"^([RLCKX]\w*)", rf"\1_{k}", line) for k in range(min(count, 30)) for line in lines[1:]]
        netlist.write_text("\n".join([*lines, *copies]))
    else:
        few = min(count, 24)
        cards = "".join(f"X{k} in 0 {rng.choice(['woofer', 'tweeter', 'horn'])}\n" for k in range(few))
        netlist.write_text(netlist.read_text().replace(".end", cards))
    return _made("many", some_command(rng, box, "stock.csv" if what == "stock" else ""))


def paths(rng: random.Random, box: Box) -> Attempt:
    """File names that lead out of the folder, links that are planted in it, and things that are no files."""
    here, toml = box.speaker, box.speaker / "speaker.toml"
    (here / "link.txt").symlink_to(rng.choice(["../../private/diary.txt", "/etc/passwd", "../beside.txt"]))
    (here / "linked").symlink_to("../../private")
    (here / "loop").symlink_to("loop")
    os.mkfifo(here / "pipe")
    (here / ".hidden.csv").write_text("20 6\n" * 20)
    what = rng.randrange(4)
    if what == 0:
        victim = rng.choice([p for p in sorted(here.iterdir()) if p.suffix in (".csv", ".txt", ".cir", ".toml")])
        victim.unlink()
        victim.symlink_to(
            rng.choice(["../../private/diary.txt", "../beside.txt", "/dev/zero", "link.txt", "linked", "pipe"])
        )
    elif what == 1:
        (here / rng.choice(["built.cir", "out.svg", "built.cir.tmp", "found.svg"])).symlink_to(
            "../../private/diary.txt"
        )
    else:
        named = re.findall(r'"[^"\n]+\.(?:csv|txt|cir|z1p)"', toml.read_text())
        if named:
            toml.write_text(toml.read_text().replace(rng.choice(named), f'"{rng.choice(LEADING_OUT)}"', 1))
    attempt = some_command(rng, box)
    if what == 1 or rng.random() < 0.2:
        of = ("refresh", "--stock", "STOCK", "--write", "built")
        attempt = Attempt("", [*box.words(of), "--force"], box.writes(of))
    return _made("paths", attempt)


# fmt: off
WORDS = (
    "", " ", "x", "-", "--", "=", "a=b", "a=1", "1@2", "1@", "@1", "..", "1..2", "2..1", "20..20k", ":",
    "1:2:3", "none",
    "woofer", "tweeter=1", "woofer=1e308", "found", "original", "C1", "C1=4.7uF", "C1=1e999", "tweetr", "found,found",
    "\u202e", "\x1b[31m", "\r", "\n", "a\nb", "\ud800", "\u00e9", "%s%n", "$(id)", "`id`", "{0}", "R" * 3000,
    "9" * 3000,
    "1" + "0" * 400, " " * 3000 + "1", "1" + " " * 3000 + "\n", "," * 3000, "1," * 1500, "." * 3000, "-" * 3000,
    "../../private/diary.txt", "../beside.txt", "/etc/passwd", "/dev/null/x", "/nowhere/x", "LR4", "B3", "E12", "AWG18",
    "1mm", "0.5mm", "4.7uF", "10mF", "1MHz", "2M2", "3k", "8", "4", "50%", "5%", "-5%", "1e308%", "0.1dB", "100dB",
)
# fmt: on
_SLOW = ("redesign", "report", "verify", "infer", "delay")
"""Answered, they take their time."""
_WRITING = ("new", "sweep")
"""They write where they are told to."""


@cache
def _flags(command: str) -> list[tuple[str, bool]]:
    """Flags of a command that take a value, and places on its line without a flag."""
    found: list[tuple[str, bool]] = []
    function = question(command)
    for asked in asked_of(function):
        if isinstance(asked.ask, Grid):
            found += [(flag, False) for flag in ("--from", "--to", "--per-octave")]
        elif asked.ask is not None and not isinstance(asked.default, bool):
            found.append((asked.ask.flag_of(asked.name), asked.ask.place))
    return found


def options(rng: random.Random, box: Box) -> Attempt:
    """Values of options that are none."""
    command = rng.choice([name for name in HOMES if name not in (*_SLOW, *_WRITING)])
    words = [command] + ([str(box.speaker)] if question_of(question(command)).opens else [])
    flags = _flags(command)
    for _ in range(rng.choice([1, 1, 2, 3])):
        flag, place = rng.choice([*flags, ("--nonsense", False)])
        value = rng.choice(rng.choice([WORDS, NUMBERS, WORDS]))
        words += [value] if place else [flag, value]
    if command == "schematic":
        words += ["-o", str(box.work / "out.svg")]
    return Attempt("options", words, ("work/out.svg",))


INPUTS: dict[str, tuple[float, Callable[[random.Random, Box], Attempt]]] = {
    "mangled": (30, mangled),
    "grown": (24, grown),
    "numbers": (16, numbers),
    "many": (8, many),
    "paths": (8, paths),
    "options": (14, options),
}
"""Share and maker of each kind of input."""
