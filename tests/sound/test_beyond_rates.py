"""How often the bound of a load or a drive holds the truth, over the invented drivers behind three networks.

`python -m pytest tests/sound/test_beyond_rates.py --benchmark-enable -s` tries all and prints the shares; an ordinary
run a few. Nothing of these networks set the bound.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented.drivers import HORNS, MIDS, TWEETERS, WOOFERS

from xover.curve import log_grid
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.rules.margins import TIGHT_DB, TIGHT_SHARE
from xover.sound.beyond import solved
from xover.speaker import open_speaker

F = log_grid(20.0, 20e3, 12)
NETWORKS = {
    "first order": "L1 in a 1.2mH dcr=0.4\nXw a 0 woofer\nC1 in b 4.7uF\nXt b 0 tweeter\n",
    "second order": (
        "L1 in a 2mH dcr=0.5\nC2 a 0 10uF\nXw a 0 woofer\nC1 in b 5.6uF\nL2 b 0 0.4mH dcr=0.3\nXt b 0 tweeter\n"
    ),
    "third order, padded": (
        "L1 in a 1.5mH dcr=0.4\nC2 a 0 15uF\nXw a 0 woofer\n"
        "C1 in b 4.7uF\nL2 b 0 0.3mH dcr=0.3\nC3 b c 15uF\nR1 c d 2\nR2 d 0 12\nXt d 0 tweeter\n"
    ),
}
BANDS = {"tweeter": ((200.0, 20e3), (302.0, 20e3), (500.0, 20e3)), "woofer": ((10.0, 500.0), (10.0, 5000.0))}


def speaker_of(woofer, tweeter, short, band):
    """The invented example with other drivers, one of them swept in a band only."""
    base = open_speaker(Path(__file__).parents[2] / "examples" / "attic-two-way" / "left")
    drivers = dict(base.drivers)
    for name, driver in (("woofer", woofer), ("tweeter", tweeter)):
        curve = driver.sweep(noise=0.003)
        if name == short:
            rows = (curve.frequency_hz >= band[0]) & (curve.frequency_hz <= band[1])
            curve = replace(curve, frequency_hz=curve.frequency_hz[rows], value=curve.value[rows])
        drivers[name] = replace(drivers[name], impedance=curve, re_ohm=None)
    return replace(base, drivers=drivers)


def judged(speaker, network, short, driver):
    """Load, and drive of the short driver: rows missing and told, largest error and bound, whether all are inside."""
    got = solved(speaker, network, F)
    known = speaker.impedances_ohm(network, F)
    missing = np.isnan(known[short])
    # Where the sweep reaches, its noise is all that is wrong: the rest is compared as it was swept.
    ohm = {name: np.where(np.isnan(z), driver.impedance_ohm(F), z) for name, z in known.items()}
    truth = solve(network, F, ohm)
    for what, value, true, most, limit in (
        ("load", got.solution.impedance_ohm["in"], truth.impedance_ohm["in"], got.load_share["in"], TIGHT_SHARE),
        ("drive", got.solution.drive[short], truth.drive[short], got.drive_db[short], TIGHT_DB),
    ):
        told = missing & np.isfinite(value)
        ratio, bound = true[told] / value[told], most[told]
        off = np.abs(ratio - 1.0) if what == "load" else np.abs(20 * np.log10(np.abs(ratio)))
        assert np.all(bound <= limit)
        inside = bool(np.all(off <= bound + 1e-9))
        yield what, (int(missing.sum()), off.size, off.max(initial=0), bound.max(initial=0), inside)


@pytest.mark.benchmark(group="beyond the sweep, behind networks")
def test_share_of_loads_and_drives_within_their_bound(benchmark):
    every = benchmark.enabled
    high, low = (*TWEETERS, *HORNS), (*WOOFERS, *MIDS[:3])
    pairs = [("tweeter", WOOFERS[2], d) for d in (high if every else high[:1])]
    pairs += [("woofer", d, TWEETERS[0]) for d in (low if every else low[2:3])]

    def run():
        found = {}
        for short, woofer, tweeter in pairs:
            for band in BANDS[short]:
                speaker = speaker_of(woofer, tweeter, short, band)
                for name, text in NETWORKS.items():
                    network = build_network(parse_netlist(f"* invented\n{text}"))
                    for what, row in judged(speaker, network, short, woofer if short == "woofer" else tweeter):
                        found.setdefault((short, what, name), []).append(row)
        return found

    found = benchmark.pedantic(run)
    cases = held = 0
    for (short, what, name), rows in found.items():
        unit, scale = ("%", 100.0) if what == "load" else ("dB", 1.0)
        missing, told, error, bound, inside = zip(*rows, strict=True)
        print(
            f"{short:7s} short, {what:5s}, {name:19s}: {sum(inside)} of {len(rows)} within the bound; "
            f"{100 * sum(told) / sum(missing):3.0f} % of the rows told, "
            f"largest error {scale * max(error):.3f} {unit}, largest bound {scale * max(bound):.3f} {unit}"
        )
        cases, held = cases + len(rows), held + sum(inside)
    print(f"all: {held} of {cases}")
    assert cases >= (500 if every else 30)
    assert held >= 0.98 * cases
