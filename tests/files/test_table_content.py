"""An impedance in the place of a response, and the other way round, is known by its content; and nothing else is.

The drivers are the 42 of tests/invented, which share no assumption with the bounds; the responses are made here of high
and low passes, resonances, delay and noise. `python tests/files/test_table_content.py` prints all counts.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from invented.drivers import DRIVERS, SWEPT_HZ

from xover.curve import Float
from xover.errors import InputError
from xover.files.tables import parse_table

Columns = tuple[Float, Float, Float]


def impedances() -> Iterator[Columns]:
    """Each driver whole, with 1 % of noise, and from 300 Hz on."""
    rng = np.random.default_rng(1)
    for driver in DRIVERS:
        z = driver.impedance_ohm(SWEPT_HZ)
        noisy = z * (1 + 0.01 * (rng.standard_normal(z.size) + 1j * rng.standard_normal(z.size)))
        for value in (z, noisy):
            yield SWEPT_HZ, np.abs(value), np.degrees(np.angle(value))
        high = SWEPT_HZ > 300
        yield SWEPT_HZ[high], np.abs(z[high]), np.degrees(np.angle(z[high]))


def responses(count: int) -> Iterator[Columns]:
    """Log or linear grids, of second or fourth order, 0 to 105 dB, 0 to 3 ms late, one in five reversed."""
    for seed in range(count):
        rng = np.random.default_rng(seed)
        even = rng.random() >= 0.7
        f = 5.0 * np.arange(1, 4000) if even else np.geomspace(20, 20000, int(rng.integers(100, 600)))
        f = f[f > 200] if rng.random() < 0.4 else f
        s = 2j * np.pi * f
        corner, order, q = 10 ** rng.uniform(1.5, 3.5), int(rng.choice([2, 4])), rng.uniform(0.5, 1.2)
        x = s / (2 * np.pi * corner)
        h = (x**2 / (x**2 + x / q + 1)) ** (order // 2)
        h = h / (1 + x / 10 ** rng.uniform(1, 2)) ** int(rng.integers(1, 5))
        for _ in range(5):
            more, at, width = rng.uniform(-0.4, 0.6), corner * 10 ** rng.uniform(-0.5, 1.5), rng.uniform(1, 6)
            y = s / (2 * np.pi * at)
            h = h * (y**2 + y * (1 + more) / width + 1) / (y**2 + y / width + 1)
        h = h * np.exp(-s * rng.choice([0, 0, 2e-5, 1e-4, 1e-3, 3e-3])) * (1 if rng.random() < 0.8 else -1)
        h = h + 10 ** (-rng.uniform(2, 4)) * np.exp(2j * np.pi * rng.random(f.size))
        yield f, 20 * np.log10(np.abs(h)) + rng.choice([0, 20, 40, 60, 85, 90, 95, 105]), np.degrees(np.angle(h))


def written(columns: Columns, phase: bool) -> str:
    return "\n".join(" ".join(f"{x:.6g}" for x in row) for row in zip(*columns[: 3 if phase else 2], strict=True))


def verdict(columns: Columns, quantity: str, phase: bool = True, header: str = "") -> str:
    """What becomes of a table without a header; "refused before" is for another reason, such as an ohm below 0."""
    try:
        said = parse_table(
            header + written(columns, phase), Path("t.txt"), "ohm" if quantity == "ohm" else "dB"
        ).warnings
    except InputError as error:
        return "refused" if "over most of the band" in str(error) else "refused before"
    if any("over most of the band" in words for words in said):
        return "doubted"
    return "warned of" if any("beyond 90" in words for words in said) else "passed"


def counted(every: int = 1) -> dict[tuple[str, str, bool], Counter[str]]:
    """Verdicts by what it is, the place where it is given, and whether it has a phase."""
    families = {"ohm": list(impedances())[::every], "dB": list(responses(300))[::every]}
    return {
        (what, place, phase): Counter(verdict(columns, place, phase) for columns in family)
        for what, family in families.items()
        for place in ("ohm", "dB")
        for phase in (True, False)
    }


def test_nothing_in_its_own_place_is_refused_or_doubted_and_most_in_the_other_is() -> None:
    """One table in nine; of all of them 12 of 126 impedances and 19 of 300 responses pass in the other's place."""
    found = counted(every=9)
    for phase in (True, False):
        assert found["ohm", "ohm", phase] == {"passed": 14}
        assert found["dB", "dB", phase] == {"passed": 34}
        assert found["ohm", "dB", phase]["passed"] <= 1
        assert found["dB", "ohm", phase]["passed"] <= 3
    # With a phase most are refused; the rest, and what has no phase, is doubted where it may be right.
    assert found["dB", "ohm", True]["passed"] == 0
    assert found["dB", "ohm", True]["refused"] + found["dB", "ohm", True]["refused before"] >= 31
    assert found["ohm", "dB", True]["refused"] >= 11
    assert found["ohm", "dB", False]["refused"] == 0


def test_a_header_that_names_the_unit_is_believed() -> None:
    f = np.geomspace(20, 20000, 200)
    level, phase = 90 - 12 * np.log2(1 + (40 / f) ** 2), np.degrees(np.angle(np.exp(-2j * np.pi * f * 3e-3)))
    assert verdict((f, level, phase), "ohm") == "refused"
    assert verdict((f, level, phase), "ohm", header="Hz ohm deg\n") == "doubted"
    z = DRIVERS[0].impedance_ohm(f)
    columns = (f, np.abs(z), np.degrees(np.angle(z)))
    assert verdict(columns, "dB") == "refused"
    assert verdict(columns, "dB", header="Hz dB deg\n") == "doubted"


def test_the_refusal_says_what_it_saw() -> None:
    f = np.geomspace(20, 20000, 200)
    columns = f, 90 - 12 * np.log2(1 + (40 / f) ** 2), np.degrees(np.angle(np.exp(-2j * np.pi * f * 3e-3)))
    with pytest.raises(InputError) as caught:
        parse_table(written(columns, True), Path("t.txt"), "ohm")
    assert "the values, from 62.1 to 90, lie high over most of the band and the phase is beyond 90 degrees" in str(
        caught.value
    )
    assert "as of a response in dB; check that the right file is named, or head the columns 'Hz ohm deg'" in str(
        caught.value
    )


def test_a_linear_magnitude_is_doubted() -> None:
    f = np.geomspace(20, 20000, 100)
    h = 1 / (1 + 1j * f / 500)
    text = written((f, np.abs(h), np.degrees(np.angle(h))), True)
    said = parse_table("Hz,Magnitude,Phase\n" + text.replace(" ", ","), Path("t.txt"), "dB").warnings
    assert said == ("the level lies between 0.025 and 1 dB throughout: is it a magnitude, not in dB?",)
    with pytest.raises(InputError, match=r"t\.txt:1: column 2 is headed 'Pa', where a level in dB is wanted"):
        parse_table("Hz,Pa,Phase\n" + text.replace(" ", ","), Path("t.txt"), "dB")


@pytest.mark.parametrize("ratio_ohm", [1.0, 4.0, 100.0])
def test_a_voltage_ratio_may_look_like_an_impedance(ratio_ohm: float) -> None:
    z = DRIVERS[0].impedance_ohm(SWEPT_HZ) / ratio_ohm + 1.0
    text = written((SWEPT_HZ, 20 * np.log10(np.abs(z)), np.degrees(np.angle(z))), True)
    assert parse_table(text, Path("t.txt"), "dB", ratio=True).warnings == ()


if __name__ == "__main__":
    for (what, place, phase), counts in counted().items():
        print(f"{what:4} in the place of {place:4} {'with' if phase else 'no':5} phase: {dict(counts)}")
