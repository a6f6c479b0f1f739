"""A reader can read it: no words on words, none cut off, none on a line, in every figure of every example."""

from dataclasses import replace

import pytest

from xover.drawing import draw_load, draw_prediction

HOSTILE = [
    r"$x^2$",
    r"$\frac{1}{2}$ and \frac{1}{2} and $unbalanced",
    "<b>bold</b> & <script>",
    "W" * 200,
    "many words " * 18,
    "日本語のスピーカー",
    "%s {0} \\n ^_~#",
]


def test_words_are_seen_to_overlap(results, drawn):
    d = drawn(draw_prediction(results.prediction("attic left")))
    d.assert_legible(20)
    first, second = d.upper.texts[:2]
    second.xy, keep = first.xy, second.xy
    second.set_position(first.get_position())
    with pytest.raises(AssertionError, match="lies on"):
        d.assert_legible(20)
    second.xy = keep
    second.set_position((4000.0, 0.0))
    with pytest.raises(AssertionError):
        d.assert_legible(20)


def test_levels_can_be_read(results, case):
    d = results.levels_figure(*case)
    d.assert_legible(20)
    assert d.crossed(d.upper) == []
    assert d.crossed(d.lower) == []


def test_load_can_be_read(results, case):
    d = results.load_figure(*case)
    d.assert_legible(20)
    assert d.crossed(d.upper) == []
    assert d.crossed(d.lower) == []


def test_a_line_through_a_name_is_seen(results):
    d = results.load_figure("attic left")
    text = next(t for t in d.upper.texts if t.get_text() == "impedance")
    place = text.get_position()
    text.set_position((0.0, 0.0))
    try:
        assert ("impedance", "impedance in") in d.crossed(d.upper)
    finally:
        text.set_position(place)


@pytest.mark.parametrize("title", HOSTILE, ids=lambda t: t[:12])
def test_a_title_is_plain_text(results, drawn, title):
    # One driver is enough: the others' names and lines are the same below any title.
    p = results.prediction("attic left")
    p = replace(p, title=title, network=title[:64], branches=p.branches[:1], drive={"woofer": p.drive["woofer"]})
    d = drawn(draw_prediction(p))
    d.assert_legible(20)
    assert all(not text.get_parse_math() for text in d.words() if text not in d.lower.get_xticklabels())
    study = replace(results.load("attic left"), title=title, network=title[:64])
    d = drawn(draw_load(study))
    d.assert_legible(20)
    if title.isascii() and len(title) < 60:
        assert title in [t.get_text() for t in d.words()]


def test_names_of_drivers_are_plain_text(results, drawn):
    p = results.prediction("attic left")
    name = "$\\alpha$ " + "x" * 80
    branches = (replace(p.branches[0], key=name), replace(p.branches[1], key="<i>$t^2$</i>"))
    drive = {name: p.drive["woofer"], "<i>$t^2$</i>": p.drive["tweeter"]}
    total = replace(p.total, reversed_keys=("<i>$t^2$</i>",))
    d = drawn(draw_prediction(replace(p, branches=branches, drive=drive, total=total)))
    d.assert_legible(20)
    for axes in (d.upper, d.lower):
        assert "<i>$t^2$</i>" in d.labels(axes)
        assert any(t.startswith("$\\alpha$ xx") and "…" in t and len(t) < 40 for t in d.labels(axes))
        assert not any(t.get_parse_math() for t in axes.texts)


def test_part_of_the_band_can_be_drawn(results, drawn):
    from xover.curve import log_grid
    from xover.sound.prediction import predict
    from xover.studies.does.load.study import study_load

    grid = log_grid(1500.0, 5000.0, 24)
    speaker = results.speaker("attic left")
    for figure in (draw_prediction(predict(speaker, "found", grid)), draw_load(study_load(speaker, "found", grid))):
        d = drawn(figure)
        d.assert_legible(20)
        assert d.lower.get_xlim() == (1500.0, 5000.0)
        assert [t.get_text() for t in d.lower.get_xticklabels()] == ["2k", "3k", "4k", "5k"]
