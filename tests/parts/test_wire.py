"""Wire: what is read, what is refused, and how its properties hang together."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError, OptionError
from xover.parts.wire import (
    USUAL_MM,
    ac_resistance_ratio,
    area_m2,
    bare_diameter_m,
    enamelled_diameter_m,
    mass_kg_per_m,
    metric_wire,
    parse_wire,
    resistance_ohm_per_m,
    skin_depth_m,
    usual_wires,
)
from xover.units import LENGTH


@pytest.mark.parametrize(
    ("text", "diameter_m", "name"),
    [
        ("1.0mm", 1e-3, "1 mm"),
        ("0,8 mm", 0.8e-3, "0.8 mm"),
        (".5mm", 0.5e-3, "0.5 mm"),
        ("0.1cm", 1e-3, "1 mm"),
        ("AWG18", 1.02369e-3, "AWG 18"),
        ("18 awg", 1.02369e-3, "AWG 18"),
        ("#20 AWG", 0.81182e-3, "AWG 20"),
        (" awg 10 ", 2.58819e-3, "AWG 10"),
    ],
)
def test_wires_as_people_write_them(text, diameter_m, name):
    wire = parse_wire(text)
    assert wire.diameter_m == pytest.approx(diameter_m, rel=5e-6)
    assert wire.name == name


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1.0", r"'1.0' is a wire without a unit; write 1.0mm"),
        ("thick", r"'thick' is not a wire; give the bare copper's diameter or its gauge, such as 1.0mm or AWG18"),
        ("", "'' is not a wire"),
        ("-1mm", "'-1mm' is not a wire"),
        ("nanmm", "'nanmm' is not a wire"),
        ("0mm", "wire '0mm' has 0 mm of copper"),
        ("6mm", "wire '6mm' has 6 mm of copper.*give one from 0.1 to 5 mm"),
        ("AWG0", "wire 'AWG0' has 8.25 mm of copper"),
        ("AWG00", "wire 'AWG00' has 9.27 mm of copper"),
        ("4/0 AWG", "wire '4/0 AWG' has 11.7 mm of copper"),
        ("AWG40", "wire 'AWG40' has 0.0799 mm of copper"),
        ("AWG400", "'AWG400' is thinner than any gauge"),
        ("1.0 mm²", "is not a wire"),
        ("9" * 60 + "mm", "'999.*...' is not a wire"),
    ],
)
def test_what_is_no_wire(text, said):
    with pytest.raises(OptionError, match=said):
        parse_wire(text)


def test_lengths():
    assert LENGTH.read("25mm") == 0.025
    assert LENGTH.read("2.5 cm") == 0.025
    assert LENGTH.read("1in") == 0.0254
    with pytest.raises(InputError, match="'25' is a length without a unit; write 25mm"):
        LENGTH.read("25")


@settings(max_examples=30)
@given(st.floats(0.1e-3, 5e-3))
def test_wire_keeps_its_laws(diameter_m):
    area = float(area_m2(diameter_m))
    assert float(resistance_ohm_per_m(diameter_m)) * area == pytest.approx(1e-6 / 58, rel=1e-12)
    assert float(mass_kg_per_m(diameter_m)) / area == pytest.approx(8890, rel=1e-12)
    outside = float(enamelled_diameter_m(diameter_m))
    assert diameter_m * 1.02 < outside < diameter_m * 1.26
    assert bare_diameter_m(outside) == pytest.approx(diameter_m, rel=1e-9)


def test_no_room_for_copper_is_not_a_wire():
    assert math.isnan(bare_diameter_m(1e-5))


def test_resistance_at_the_ends_of_the_frequencies():
    """Known limits: 1 + (a/delta)^4/48 for thick skins, a/(2 delta) + 1/4 for thin ones."""
    radius = 0.5e-3
    thick = 5 * radius
    f = float((skin_depth_m(1.0) / thick) ** 2)
    assert float(ac_resistance_ratio(1e-3, f)) - 1 == pytest.approx((1 / 5) ** 4 / 48, rel=1e-3)
    thin = radius / 100
    f = float((skin_depth_m(1.0) / thin) ** 2)
    assert float(ac_resistance_ratio(1e-3, f)) == pytest.approx(50.25, rel=1e-4)
    assert float(ac_resistance_ratio(5e-3, 1e9)) == pytest.approx(
        2.5e-3 / float(skin_depth_m(1e9)) / 2 + 0.25, rel=1e-4
    )
    assert np.all(np.diff(ac_resistance_ratio(1e-3, np.geomspace(100, 1e6, 60))) > 0)


def test_usual_wires_rise():
    assert [w.diameter_m for w in usual_wires()] == sorted(mm * 1e-3 for mm in USUAL_MM)
    assert len(set(USUAL_MM)) == len(USUAL_MM)
    assert metric_wire(0.71).name == "0.71 mm"
    assert metric_wire(1.0).pitch_m == pytest.approx(1.094e-3, rel=1e-12)
