"""The figure of a load shows the numbers of the study, and the limit where the amplifier has it."""

from dataclasses import replace

import numpy as np
import pytest

from xover.drawing import draw_load


def assert_same_where_finite(got, wanted):
    """Exactly the numbers of the result, and a gap wherever the result has none."""
    known = np.isfinite(wanted)
    assert known.sum() > 100
    np.testing.assert_array_equal(got[known], wanted[known])
    assert np.isnan(got[~known]).all()


def test_every_channel_is_drawn_as_computed(results, case):
    study, d = results.load(*case), results.load_figure(*case)
    assert len(study.channels) == (2 if case[0] == "bi-amp" else 1)
    for name, channel in study.channels.items():
        x, y = d.line(f"impedance {name}")
        np.testing.assert_array_equal(x, study.frequency_hz)
        assert_same_where_finite(y, np.abs(channel.impedance_ohm))
        assert_same_where_finite(d.line(f"epdr {name}")[1], channel.reading.epdr_ohm)
        x, y = d.line(f"phase {name}", d.lower)
        np.testing.assert_array_equal(x, study.frequency_hz)
        np.testing.assert_allclose(y, np.degrees(np.angle(channel.impedance_ohm)), rtol=1e-12)


def test_epdr_is_thinner_than_impedance(results, case):
    study = results.load(*case)
    widths = {line.get_label(): line.get_linewidth() for line in results.load_figure(*case).upper.lines}
    for name in study.channels:
        assert 0.2 < widths[f"epdr {name}"] / widths[f"impedance {name}"] < 0.8


# The limits stand in the speaker.toml of each example.
@pytest.mark.parametrize(("name", "ohm"), [("attic left", 4.0), ("hall horn", 6.0), ("studio", 4.0), ("bi-amp", 4.0)])
def test_the_limit_lies_at_the_amplifiers_value(results, name, ohm):
    d = results.load_figure(name)
    x, y = d.line(f"limit {ohm:g}")
    assert list(y) == [ohm, ohm]
    assert list(x) == [20.0, 20_000.0]
    assert d.labels(d.upper).count(f"amplifier's minimum load {ohm:g} ohm") == 1


def test_without_an_amplifier_there_is_no_limit(results, drawn):
    study = results.load("attic left")
    (name,) = study.channels
    channel = study.channels[name]
    free = replace(channel, verdict=replace(channel.verdict, minimum_load_ohm=None))
    d = drawn(draw_load(replace(study, channels={name: free})))
    assert not [n for n in d.names(d.upper) if n.startswith("limit")]
    assert "amplifier's" not in " ".join(d.labels(d.upper))


def test_unlike_limits_name_their_channels(results, drawn):
    study = results.load("bi-amp")
    channels = {
        name: replace(c, verdict=replace(c.verdict, minimum_load_ohm=ohm))
        for (name, c), ohm in zip(study.channels.items(), (2.0, 8.0), strict=True)
    }
    d = drawn(draw_load(replace(study, channels=channels)))
    assert list(d.line("limit 2")[1]) == [2.0, 2.0]
    assert list(d.line("limit 8")[1]) == [8.0, 8.0]
    assert "amplifier's minimum load 2 ohm (bass)" in d.labels(d.upper)
    assert "amplifier's minimum load 8 ohm (treble)" in d.labels(d.upper)


def test_the_lowest_points_are_marked(results, case):
    study, d = results.load(*case), results.load_figure(*case)
    for name, channel in study.channels.items():
        r = channel.reading
        x, y = d.line(f"minimum {name}")
        assert (*x, *y) == (r.minimum_at_hz, r.minimum_ohm)
        x, y = d.line(f"lowest epdr {name}")
        assert (*x, *y) == (r.lowest_epdr_at_hz, r.lowest_epdr_ohm)


def test_the_lowest_points_are_put_in_words(results, drawn):
    study = results.load("studio")
    (reading,) = [c.reading for c in study.channels.values()]
    reading = replace(reading, minimum_ohm=3.303, minimum_at_hz=102.4, lowest_epdr_ohm=1.759, lowest_epdr_at_hz=68.15)
    channels = {name: replace(c, reading=reading) for name, c in study.channels.items()}
    labels = drawn(draw_load(replace(study, channels=channels))).upper.texts
    words = [t.get_text() for t in labels]
    assert "lowest 3.3 ohm at 102 Hz" in words
    assert "lowest EPDR 1.76 ohm at 68.2 Hz" in words


def test_every_line_is_named_once(results):
    d = results.load_figure("attic left")
    assert d.labels(d.upper).count("impedance") == 1
    assert d.labels(d.upper).count("EPDR") == 1
    d = results.load_figure("bi-amp")
    for name in ("bass", "treble"):
        assert d.labels(d.upper).count(name) == 1
        assert d.labels(d.upper).count(f"{name} EPDR") == 1
        assert d.labels(d.lower).count(name) == 1


def test_all_that_matters_is_within_the_scales(results, case):
    study, d = results.load(*case), results.load_figure(*case)
    bottom, top = d.upper.get_ylim()
    assert d.upper.get_yscale() == "log"
    for channel in study.channels.values():
        r = channel.reading
        assert bottom <= r.lowest_epdr_ohm / 1.4
        assert bottom > r.lowest_epdr_ohm / 4.0 or len(study.channels) > 1
        assert r.minimum_ohm < top
        beyond = np.nanmax(r.impedance_ohm) > top
        assert (f"impedance above {top:g} ohm lies outside the figure" in d.all_text()) or not beyond
    assert d.lower.get_ylim() == (-90.0, 90.0)
    assert [t.get_text() for t in d.lower.get_yticklabels()] == ["\u221290°", "\u221245°", "0°", "45°", "90°"]


def test_a_phase_beyond_90_degrees_is_shown(results, drawn):
    study = results.load("attic left")
    turned = {
        name: replace(c, reading=replace(c.reading, phase_deg=c.reading.phase_deg + 100.0))
        for name, c in study.channels.items()
    }
    assert drawn(draw_load(replace(study, channels=turned))).lower.get_ylim() == (-180.0, 180.0)


def test_the_verdict_is_written_below(results):
    (channel,) = results.load("studio").channels.values()
    text = results.load_figure("studio").all_text().replace("\n", " ")
    assert channel.verdict.sentence.split(":")[0] in text
    assert "EPDR: the resistor that would heat an output device as much at its worst instant" in text


def test_an_unknown_load_still_makes_a_figure(results, drawn):
    study = results.load("attic left")
    (name,) = study.channels
    channel = study.channels[name]
    nothing = np.full(480, np.nan)
    names = ("minimum_ohm", "minimum_at_hz", "lowest_epdr_ohm", "lowest_epdr_at_hz")
    reading = replace(
        channel.reading,
        impedance_ohm=nothing,
        phase_deg=nothing,
        epdr_ohm=nothing,
        **dict.fromkeys(names, float("nan")),
    )
    d = drawn(draw_load(replace(study, channels={name: replace(channel, reading=reading)})))
    assert d.labels(d.upper) == ["amplifier's minimum load 4 ohm"]
