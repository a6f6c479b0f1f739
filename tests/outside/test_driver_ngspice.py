"""The equivalent circuit of a driver, run in ngspice, against the model's own formula."""

from __future__ import annotations

import math

import numpy as np
import pytest
from ngspice_judge import ac

from xover.driver.model import DriverModel, LossyInductance, Resonance

pytestmark = pytest.mark.outside

# Invented drivers.
MODELS = {
    "woofer": DriverModel(
        6.2, 0.3e-3, (LossyInductance(4.0, 1e-3), LossyInductance(15.0, 0.4e-3)), (Resonance(45.0, 60.0, 5.0),)
    ),
    "horn": DriverModel(
        6.0, 0.05e-3, (LossyInductance(6.0, 0.1e-3),), (Resonance(600.0, 20.0, 3.0), Resonance(1500.0, 8.0, 2.5))
    ),
    "dome": DriverModel.from_thiele_small(5.4, 1100.0, 3.0, 1.2, 0.05e-3),
}


def cards(model: DriverModel) -> list[str]:
    """One card for each element; the cells stand in series from node n0 to ground."""
    elements = model.rlc_elements()
    last = elements[-1].cell
    return [f"{e.name} n{e.cell} {'0' if e.cell == last else f'n{e.cell + 1}'} {e.value!r}" for e in elements]


@pytest.mark.parametrize("name", MODELS)
def test_equivalent_circuit(name: str) -> None:
    model = MODELS[name]
    f = np.geomspace(12.0, 19000.0, 25)
    # One ampere in: the voltage is the impedance.
    found = ac(["Iin 0 n0 AC 1", *cards(model)], f, ["v(n0)"])["v(n0)"]
    np.testing.assert_allclose(found, model.impedance_ohm(f), rtol=1e-7)
    assert math.isclose(abs(found[0]), abs(model.impedance_ohm([12.0])[0]), rel_tol=1e-7)
