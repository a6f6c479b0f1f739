"""1,500 mangled speaker folders: each command ends with status 0, or status 2 and one line; no file is touched."""

import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from invented.mangled import mangle, thin

import xover.sound.prediction
import xover.studies.does.load.study
from xover.files.speaker import SpeakerFile, read_speaker

ROOT = Path(__file__).parents[2]
CHUNKS, PER_CHUNK = 20, 50


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
