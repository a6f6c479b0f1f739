"""Figures that a notebook shows."""

import ast
from pathlib import Path
from xml.etree import ElementTree

import pytest

import xover
import xover.drawing
from xover.api.draw import _REDESIGN, _declared
from xover.studies.change.redesign.result import RedesignStudy

SVG = "{http://www.w3.org/2000/svg}svg"


def test_a_notebook_shows_the_picture(speaker):
    figure = speaker.draw(speaker.predict("found"))
    assert isinstance(figure, xover.Figure)
    assert figure._repr_png_().startswith(b"\x89PNG\r\n\x1a\n")
    assert ElementTree.fromstring(figure._repr_svg_()).tag == SVG
    assert "Attic two-way" in figure._repr_svg_()
    assert repr(figure).startswith("Figure of a Prediction: ")
    assert figure.matplotlib.axes


def test_it_is_saved_by_the_ending_and_not_over_a_file(speaker, tmp_path):
    figure = xover.draw(speaker.compare("found", "original"))
    assert figure.save(tmp_path / "a.svg") is figure
    assert ElementTree.parse(tmp_path / "a.svg").getroot().tag == SVG
    xover.save(figure, tmp_path / "a.png")
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(xover.InputError, match=r"a\.png"):
        xover.save(figure, tmp_path / "a.png")
    xover.save(figure.matplotlib, tmp_path / "a.png", force=True)
    with pytest.raises(xover.OptionError, match="end the name in"):
        figure.save(tmp_path / "a.gif")


def test_every_kind_of_result_that_can_be_drawn_is_known():
    drawn = {}
    for path in Path(xover.drawing.__file__).parent.glob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("draw_") and node.args.args:
                drawn[f"{path.stem}.{node.name}"] = ast.unparse(node.args.args[0].annotation)
    assert len(drawn) > 12
    known = {_REDESIGN.rpartition(".")[2], *_declared()}
    assert {name: drawn[function] for name, function in _declared().items()} == {name: name for name in _declared()}
    assert set(drawn.values()) == known


def test_the_schematic_of_a_network(speaker, tmp_path):
    drawn = speaker.schematic("found", other="original")
    text = drawn._repr_svg_()
    assert ElementTree.fromstring(text).tag == SVG
    for part in ("L1", "C1", "C2", "R1"):
        assert part in text
    xover.save(drawn, tmp_path / "found.svg")
    assert ElementTree.parse(tmp_path / "found.svg").getroot().tag == SVG
    assert drawn._repr_svg_() != speaker.schematic("found")._repr_svg_()


def test_a_redesign_is_drawn_with_the_curves_of_its_speaker(speaker, monkeypatch):
    study = object.__new__(RedesignStudy)
    object.__setattr__(study, "proposals", ("first", "second"))
    monkeypatch.setattr("xover.studies.change.redesign.result.redesign_curves", lambda *given: given)
    monkeypatch.setattr("xover.drawing.change.draw_redesign", lambda *given: given)
    assert speaker.draw(study, number=2).matplotlib == (study, (study, speaker.speaker), 2)
    with pytest.raises(xover.OptionError, match=r"speaker\.draw"):
        xover.draw(study)
    for number in (0, 3):
        with pytest.raises(xover.OptionError, match="there are 2 proposals"):
            speaker.draw(study, number=number)


def test_what_has_no_figure_says_so(speaker):
    with pytest.raises(xover.OptionError, match="no figure of a Network; give the result of predict"):
        speaker.draw(speaker.network("found"))
