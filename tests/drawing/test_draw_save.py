"""Saved figures: whole, the same each time, in three formats, and never over an old file unasked."""

import os
import re
import struct
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from xover.drawing import draw_load, draw_prediction, save_figure
from xover.errors import InputError, OptionError

ROOT = Path(__file__).parents[2]
SVG_TEXT = "{http://www.w3.org/2000/svg}text"


@pytest.fixture(scope="module")
def figure(results):
    return draw_prediction(results.prediction("attic left"))


@pytest.fixture(scope="module")
def saved(results, tmp_path_factory):
    """Bytes of two figures of one result, by kind; an ending counts in capitals too."""
    kept = {}
    for _ in range(2):
        one = draw_load(results.load("studio"))
        for name in ("sum.png", "sum.svg", "sum.PDF"):
            folder = tmp_path_factory.mktemp("saved")
            save_figure(one, folder / name)
            assert os.listdir(folder) == [name]
            kept.setdefault(name[-3:].lower(), []).append((folder / name).read_bytes())
    return kept


def test_png(saved):
    data = saved["png"][0]
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    assert struct.unpack(">II", data[16:24]) == (1200, 1050)  # 8 by 7 inches at 150 dots


def test_svg_keeps_text_as_text(results, tmp_path):
    title = r"$x^2$ <b>bold</b> & \frac{1}{2}"
    save_figure(draw_prediction(replace(results.prediction("attic left"), title=title)), tmp_path / "sum.svg")
    data = (tmp_path / "sum.svg").read_text(encoding="utf-8")
    texts = ["".join(element.itertext()).strip() for element in ET.fromstring(data).iter(SVG_TEXT)]
    assert title in texts
    assert {"woofer", "tweeter", "sum", "sum, tweeter reversed", "20k"} <= set(texts)
    assert texts.count("woofer") == 2


def test_pdf(saved):
    data = saved["pdf"][0]
    assert data.startswith(b"%PDF-")
    assert data.rstrip().endswith(b"%%EOF")
    assert b"/Creator (xover)" in data


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_no_date_and_no_version_is_written(saved, kind):
    data = saved[kind][0]
    assert b"xover" in data
    assert not re.search(rb"20[0-9]{2}-[01][0-9]-|CreationDate|Matplotlib v", data)


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_the_same_result_gives_the_same_bytes(saved, kind):
    one, two = saved[kind]
    assert len(one) > 10_000
    assert one == two


@pytest.mark.parametrize("name", ["sum", "sum.jpg", "sum.png.txt", ".png", "sum."])
def test_other_endings_are_refused(figure, tmp_path, name):
    with pytest.raises(OptionError, match=r"end the name in \.png, \.svg or \.pdf") as caught:
        save_figure(figure, tmp_path / name)
    assert f"'{name}'" in str(caught.value)
    assert os.listdir(tmp_path) == []


def test_an_old_file_is_kept(figure, tmp_path):
    path = tmp_path / "sum.png"
    path.write_bytes(b"old")
    with pytest.raises(InputError, match="exists already"):
        save_figure(figure, path)
    assert path.read_bytes() == b"old"
    save_figure(figure, path, force=True)
    assert path.read_bytes().startswith(b"\x89PNG")
    assert os.listdir(tmp_path) == ["sum.png"]


def test_a_missing_folder_is_named(figure, tmp_path):
    with pytest.raises(InputError, match="nowhere"):
        save_figure(figure, tmp_path / "nowhere" / "sum.png")


@pytest.fixture(scope="module")
def fresh(tmp_path_factory):
    """Two fresh processes, each with its own order of hashes, draw the same: what they loaded, and the bytes."""
    folder = tmp_path_factory.mktemp("fresh")
    code = (
        "import sys; from xover.curve import log_grid; import xover.drawing.labels; "
        "from xover.drawing import draw_prediction, save_figure; loaded = 'matplotlib', 'scipy', 'matplotlib.pyplot'; "
        "print(*(name in sys.modules for name in loaded)); "
        "from xover.speaker import open_speaker; from xover.sound.prediction import predict; "
        "p = predict(open_speaker('examples/attic-two-way/left'), 'found', log_grid(20, 20000, 6)); "
        "save_figure(draw_prediction(p), sys.argv[1]); "
        "print(*(name in sys.modules for name in loaded))"
    )
    printed = []
    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", code, str(folder / f"{seed}.svg")],
            capture_output=True,
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=False,
        )
        assert done.returncode == 0, done.stderr
        printed.append([line.split() for line in done.stdout.splitlines()])
    return printed, *((folder / f"{seed}.svg").read_bytes() for seed in ("1", "2"))


def test_importing_the_layer_does_not_import_matplotlib(fresh):
    for imported, _ in fresh[0]:
        assert imported == ["False", "False", "False"]


def test_drawing_needs_no_global_state_and_no_luck(fresh):
    """pyplot stays out, and the bytes are the same whatever the order of hashes."""
    printed, one, two = fresh
    for _, drawn in printed:
        assert (drawn[0], drawn[2]) == ("True", "False")
    assert len(one) > 10_000
    assert one == two
