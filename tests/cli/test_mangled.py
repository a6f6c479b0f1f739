"""2,000 mangled speaker folders: each command ends with status 0, or status 2 and one line; no file is touched."""

import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

import xover.sound.prediction
import xover.studies.does.load.study
from xover.files.speaker import SpeakerFile, read_speaker

ROOT = Path(__file__).parents[2]
CHUNKS, PER_CHUNK = 40, 50
HOSTILE = [
    b"nan",
    b"inf",
    b"-1",
    b"0",
    b"1e999",
    b"1e-999",
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"9" * 400,
    b"((((",
    b"{1/0}",
    b"__import__('os').system('id')",
    b"10mF",
    b"10MFD",
    b"1,000.5",
    b"\xc3\xa9",
    b"\xe2\x80\xae",
    b"\r",
    b"\n\n",
    b"=",
    b"[",
    b"]]",
    b'"',
    b"'''",
    b"K1 L1 L2 1",
    b"R9 in 0 0",
    b"Vx w 0",
    b"Vy in 0",
    b".param a={a}",
    b"+ +",
    b"* ;",
    b"X" * 300,
    b"tweeter",
    b"../../../../etc/passwd",
    b"found.cir",
    b"minimum",
    b"common",
    b"true",
    b"1979-05-27",
    b"L1 in w 1.8mH",
]


def mangle(data: bytes, rng: random.Random) -> bytes:
    """Damage a file in one of the ways that editors, spreadsheets, transfers and people do."""
    lines = data.split(b"\n")
    pick = rng.randrange(len(lines))
    how = rng.randrange(12)
    if how == 0:
        return data[: rng.randrange(len(data) + 1)]
    if how == 1:
        spot = rng.randrange(len(data) + 1)
        return data[:spot] + rng.choice(HOSTILE) + data[spot:]
    if how == 2:
        damaged = bytearray(data)
        for _ in range(rng.randint(1, 20)):
            damaged[rng.randrange(len(damaged))] = rng.randrange(256)
        return bytes(damaged)
    if how == 3:
        del lines[pick]
    elif how == 4:
        lines.insert(pick, lines[rng.randrange(len(lines))])
    elif how == 5:
        rng.shuffle(lines)
    elif how == 6:
        words = lines[pick].split(b" ")
        words[rng.randrange(len(words))] = rng.choice(HOSTILE)
        lines[pick] = b" ".join(words)
    elif how == 7:
        return data.replace(b".", b",")
    elif how == 8:
        return data.decode("latin-1").encode(rng.choice(["utf-16", "utf-16-le", "utf-8-sig", "utf-32"]))
    elif how == 9:
        return data.replace(
            rng.choice([b",", b"=", b'"', b" ", b"0", b"in", b"["]), rng.choice([b"", b";", b"\t", b"9"])
        )
    elif how == 10:
        return rng.choice([b"", b"\n", b"\x00" * 50, rng.randbytes(300), data * 2])
    else:
        start = rng.randrange(len(lines))
        del lines[start : start + rng.randint(1, 30)]
    return b"\n".join(lines)


def thin(folder: Path) -> None:
    """Keep every twelfth row of the tables: as many ways to break them, in less time."""
    for path in folder.rglob("*"):
        if path.suffix in {".csv", ".txt", ".z1p"}:
            lines = path.read_bytes().split(b"\n")
            kept = [line for n, line in enumerate(lines) if n % 12 == 0 or not line[:1].isdigit()]
            path.write_bytes(b"\n".join(kept))


def read_by(command_files: SpeakerFile, network: str) -> list[Path]:
    """What `predict` and `load` read of a folder: damage to any other file could break nothing."""
    drivers = command_files.speaker.drivers.values()
    tables = [command_files.file(name) for d in drivers for name in (d.impedance, d.response) if name is not None]
    return [command_files.path, command_files.file(command_files.speaker.networks[network].circuit), *sorted(tables)]


def contents(folder: Path) -> dict[Path, bytes]:
    return {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture(scope="module")
def folder(tmp_path_factory, remembered):
    """One place for all folders. Much damage, as to a comment, leaves what a study is given as it was: worked out once.

    The commands still read each folder anew, and show what they find.
    """

    def given(speaker, name, *rest, **options):
        network = speaker.network(name)
        cards = (*network.parts, *network.drivers, *network.channels, *network.couplings)
        unnumbered = [replace(card, line=None) for card in cards]  # lines count in what is said of faults only
        return speaker.file.speaker, speaker.drivers, network.title, unnumbered, network.notes, rest, options

    with pytest.MonkeyPatch.context() as patch:
        for study in (xover.sound.prediction.predict, xover.studies.does.load.study.study_load):
            patch.setattr(f"{study.__module__}.{study.__name__}", remembered(study, given))
        yield tmp_path_factory.mktemp("mangled")


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_mangled_input(run, folder, chunk):
    rng = random.Random(20260 + chunk)
    source = ROOT / "examples" / rng.choice(["attic-two-way", "attic-two-way", "hall-horn-two-way", "studio-three-way"])
    base = folder / source.name
    shutil.rmtree(base, ignore_errors=True)
    shutil.copytree(source, base, ignore=shutil.ignore_patterns("right"))
    thin(base)
    speaker = base / "left" if (base / "left").is_dir() else base
    whole = read_speaker(speaker)
    victims = {network: read_by(whole, network) for network in ("found", "original")}
    for path in sorted(set(contents(base)).difference(*victims.values())):
        path.write_bytes(mangle(path.read_bytes(), rng))  # stays so: nobody may care
    before = contents(base)
    statuses = {0: 0, 2: 0}
    for _ in range(PER_CHUNK):
        command = rng.choice(["predict", "predict", "predict", "load"])
        options = rng.choice([[], ["--json"], ["--network", "original"]])
        files = victims["original" if "original" in options else "found"]
        victim = rng.choices(files, [6 if p.suffix in {".toml", ".cir"} else 2 for p in files])[0]
        while (damaged := mangle(before[victim], rng)) == before[victim]:
            pass
        victim.write_bytes(damaged)
        done = run(command, speaker, "--per-octave", "6", *options)
        story = f"{victim.name} {command}: status {done.status}\n{done.err}"
        assert done.status in statuses, story
        assert "Traceback" not in done.err + done.out, story
        if done.status == 2:
            assert done.out == "", story
            assert done.err.startswith("error: "), story
            assert done.err.count("\n") == 1, story
        assert contents(base) == {**before, victim: damaged}, story
        statuses[done.status] += 1
        victim.write_bytes(before[victim])
    assert statuses[0] > 0  # the whole folder is read
    assert statuses[2] > PER_CHUNK // 10  # the mangling does break things
    assert sum(statuses.values()) == PER_CHUNK
