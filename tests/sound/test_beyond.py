"""Where a driver's sweep does not reach, what is told lies within its bound of the truth, and the rest stays blank."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from xover.curve import Curve, log_grid
from xover.network import solve
from xover.rules.margins import TIGHT_DB, TIGHT_SHARE
from xover.sound.beyond import solved
from xover.sound.prediction import predict, sound_of_network
from xover.speaker import open_speaker
from xover.studies.does.load.study import study_load

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(20.0, 20e3, 12)


def shortened(speaker, curve="impedance", **bands):
    """The speaker with some drivers' sweeps cut to a band; the whole ones say what is true."""
    drivers = dict(speaker.drivers)
    for name, (low, high) in bands.items():
        whole = getattr(drivers[name], curve)
        rows = (whole.frequency_hz >= low) & (whole.frequency_hz <= high)
        short = replace(whole, frequency_hz=whole.frequency_hz[rows], value=whole.value[rows])
        assert isinstance(short, Curve)
        drivers[name] = replace(drivers[name], **{curve: short})
    return replace(speaker, drivers=drivers)


CASES = [
    ("attic-two-way/left", {"tweeter": (302, 40e3)}),
    ("attic-two-way/left", {"tweeter": (200, 40e3)}),
    ("attic-two-way/left", {"woofer": (10, 500)}),
    ("attic-two-way/left", {"woofer": (10, 5000), "tweeter": (302, 40e3)}),
    ("studio-three-way", {"tweeter": (302, 40e3), "mid": (100, 40e3)}),
    ("hall-horn-two-way", {"horn": (302, 40e3), "woofer": (10, 10e3)}),
]


@pytest.mark.parametrize(("folder", "bands"), CASES)
def test_what_is_told_holds_and_what_is_loose_is_blank(folder, bands):
    whole = open_speaker(EXAMPLES / folder)
    network = whole.network("found")
    short = shortened(whole, **bands)
    found = solved(short, network, F)
    truth = solve(network, F, whole.impedances_ohm(network, F))
    missing = np.any([np.isnan(z) for z in short.impedances_ohm(network, F).values()], axis=0)
    assert missing.any()
    for channel, z in found.solution.impedance_ohm.items():
        told, share = np.isfinite(z), found.load_share[channel]
        assert np.all(np.abs(truth.impedance_ohm[channel][told] / z[told] - 1.0) <= share[told] + 1e-9)
        assert np.array_equal(told, ~missing | (share <= TIGHT_SHARE))
    for key, drive in found.solution.drive.items():
        told, most = np.isfinite(drive), found.drive_db[key]
        assert np.all(np.abs(20 * np.log10(np.abs(drive[told] / truth.drive[key][told]))) <= most[told] + 1e-9)
        assert np.array_equal(told, ~missing | (most <= TIGHT_DB))


@pytest.mark.parametrize("begins_hz", [200, 302])
def test_below_a_tweeters_sweep_the_load_and_the_sum_are_no_longer_blank(begins_hz):
    """`-s` prints the bound and what it is held against."""
    whole = open_speaker(EXAMPLES / "attic-two-way" / "left")
    short = shortened(whole, tweeter=(begins_hz, 40e3))
    full, told = predict(whole, "found", F), predict(short, "found", F)
    bound, missing = told.bounds[0], begins_hz > F
    load = told.impedance_ohm["in"]
    assert np.all(np.isfinite(load))
    error = 100 * np.abs(full.impedance_ohm["in"] / load - 1.0)[missing].max()
    assert 0 < error < bound.load_percent["in"] < 0.1
    assert np.array_equal(np.isfinite(told.total.level_db), np.isfinite(full.total.level_db))
    sums = np.nanmax(np.abs(told.total.level_db - full.total.level_db)[missing])
    # Where its response does not reach either, it is left out as far below the rest.
    assert sums <= bound.sum_db + 1e-5
    # Its own drive goes with its impedance: that is over a tenth of a decibel soon.
    drive = told.drive["tweeter"]
    assert np.isnan(drive[F < 30]).all()
    there = missing & np.isfinite(drive)
    assert there.any()
    drives = np.abs(20 * np.log10(np.abs(full.drive["tweeter"][there] / drive[there]))).max()
    assert drives <= bound.drive_db["tweeter"] <= TIGHT_DB
    assert np.isfinite(told.drive["woofer"]).all()
    print(
        f"from {begins_hz} Hz, below: load off by {error:.1e} %, bound {bound.load_percent['in']:.1e} %; drive "
        f"{drives:.4f} dB, bound {bound.drive_db['tweeter']:.3f} dB; sum {sums:.1e} dB, bound {bound.sum_db:.1e} dB"
    )
    assert any("the impedance of tweeter was not swept below" in w for w in told.warnings)
    assert told.plain()["summary"]["beyond_sweeps"]
    assert "beyond_sweeps" not in full.plain()["summary"]


def test_load_tells_the_bound_of_the_load_alone():
    short = shortened(open_speaker(EXAMPLES / "attic-two-way" / "left"), tweeter=(302, 40e3))
    study = study_load(short, "found", F)
    said = [w for w in study.warnings if "was not swept" in w]
    assert len(said) == 1
    assert "drive" not in said[0]
    reading = study.channels["in"].reading
    assert reading.covered_hz == (20.0, 20e3)


def test_a_first_order_tweeter_is_in_the_sum_by_its_bound(tmp_path):
    """Its drive is known to 2 % only, 20 dB down: nothing of it is told, and the sum is, to a few hundredths."""
    from xover.files.netlist import read_netlist
    from xover.network import build_network

    (tmp_path / "n.cir").write_text("L1 in a 1mH\nXw a 0 woofer\nC1 in b 4.7uF\nXt b 0 tweeter\n.end\n")
    network = build_network(read_netlist(tmp_path / "n.cir"))
    whole = open_speaker(EXAMPLES / "attic-two-way" / "left")
    short = shortened(whole, tweeter=(400, 40e3))
    full, told = (sound_of_network(s, network, F) for s in (whole, short))
    rows = (F > 200) & (F < 400)
    tweeter = next(b for b in told.branches if b.key == "tweeter")
    assert np.isnan(tweeter.pressure[rows]).any()
    missing = np.isnan(tweeter.pressure) & np.isfinite(full.total.pressure)
    level = np.abs(full.total.level_db - told.total.level_db)[missing & np.isfinite(told.total.level_db)]
    assert level.size
    assert level.max() <= told.bounds[0].sum_db + 1e-9 <= TIGHT_DB + 1e-6
    # Not by the rule for what is left out: it stands less than 30 dB below the woofer.
    woofer = next(b for b in full.branches if b.key == "woofer")
    faint = np.abs(next(b for b in full.branches if b.key == "tweeter").pressure) < np.abs(woofer.pressure) * 10**-1.5
    assert np.any(missing & ~faint & np.isfinite(told.total.level_db))


def test_behind_an_output_resistance_the_sum_is_told_where_drive_and_load_are():
    short = shortened(open_speaker(EXAMPLES / "attic-two-way" / "left"), tweeter=(302, 40e3))
    whole = predict(open_speaker(EXAMPLES / "attic-two-way" / "left"), "found", F, output_ohm=2.0)
    told = predict(short, "found", F, output_ohm=2.0)
    known = np.isfinite(told.total.level_db)
    assert known.any()
    assert np.abs(told.total.level_db - whole.total.level_db)[known & np.isfinite(whole.total.level_db)].max() < 0.2
