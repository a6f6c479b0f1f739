"""What `xover capacitor` prints."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import typer

from xover.cli.show import db, show_heading, show_item, show_table, show_text
from xover.quantity import Kind, format_quantity, hertz

if TYPE_CHECKING:
    from xover.parts.capacitor_loss import CapacitorLoss
    from xover.parts.capacitor_pairs import Bypass
    from xover.parts.meter_inverse import Believable, LossRange


def show_capacitor(result: dict[str, Any]) -> None:
    """Print what the command found."""
    loss: CapacitorLoss | None = result["loss"]
    show_heading(f"Capacitor {_uf(result['capacitance_f'])}")
    show_item("loss", result["evidence"])
    if loss is not None:
        _show_loss(result, loss)
    if "believable" in result:
        _show_believable(result["believable"])
        show_text(_sentence(result["against_value"]))
    if "expected_reading" in result:
        _show_expected(result["expected_reading"])
    if "voltage" in result:
        show_heading("Voltage")
        show_text(_sentence(result["voltage"].sentence))
        show_text(
            "That is with every driver in place: an unplugged one can raise it many times, which xover load tells. "
            "100 V is the usual least (common practice)."
        )
    if "bypass" in result:
        _show_bypass(result["bypass"])


def _show_loss(result: dict[str, Any], loss: CapacitorLoss) -> None:
    show_item("fixed", f"{loss.fixed_ohm:.3g} ohm")
    show_item("constant angle", f"df {loss.dissipation_factor:.3g}")
    if loss.worst_ohm > 1e-9:
        show_item("furthest reading", f"{loss.worst_ohm:.2g} ohm from the fit")
    show_item("netlist", result["card"])
    typer.echo()
    rows = [
        [hertz(f), f"{r:.3g}", f"{d:.3g}", _q(d), f"{math.degrees(math.atan(d)):.2f}"]
        for f, r, d in zip(result["frequency_hz"], result["esr_ohm"], result["dissipation_factor"], strict=True)
    ]
    show_table(["at", "ESR ohm", "df", "Q", "loss angle deg"], rows)
    typer.echo()
    if "single_reading" in result:
        show_text(_sentence(result["single_reading"].sentence))
    show_text(_sentence(result["constant_capacitance"]))


def _show_believable(found: Believable) -> None:
    show_heading("What the reading means")
    show_text(_sentence(found.sentence))
    low, high = found.reading_over_1khz
    show_item(
        "shows", f"{_times(low)} to {_times(high)} its capacitance at 1 kHz" if high - low > 5e-4 else _times(low)
    )
    show_item("meter", found.meter)
    _show_range(found.loss)


def _show_expected(expected: dict[str, Any]) -> None:
    show_heading("What the meter should show")
    low, high = _uf(expected["lowest_f"]), _uf(expected["highest_f"])
    show_item("reading", low if low == high else f"{low} to {high}")
    show_item("meter", expected["meter"])
    _show_range(expected["loss"])


def _show_range(loss: LossRange) -> None:
    show_item("df at 1 kHz", _span(loss.total_df))
    show_item("of it constant", f"{_span(loss.constant_phase_df)}: from {loss.because}")


def _show_bypass(found: Bypass) -> None:
    show_heading("With the small film capacitor across it")
    rows = [
        [hertz(f), f"{a:.4g}", f"{b:.4g}", db(change, 3, True), f"{ra:.3g}", f"{rb:.3g}"]
        for f, a, b, change, ra, rb in zip(
            found.frequency_hz,
            found.alone_ohm,
            found.bypassed_ohm,
            found.change_db,
            found.alone_esr_ohm,
            found.bypassed_esr_ohm,
            strict=True,
        )
    ]
    show_table(["at", "alone ohm", "bypassed", "dB", "ESR alone", "bypassed"], rows)
    show_text(_sentence(found.sentence))


def _span(values: tuple[float, float]) -> str:
    low, high = (f"{v:.3g}" for v in values)
    return low if low == high else f"{low} to {high}"


def _q(dissipation_factor: float) -> str:
    if dissipation_factor == 0:
        return "-"
    return f"{1 / dissipation_factor:.3g}" if dissipation_factor > 1e-3 else f"{1 / dissipation_factor:.0f}"


def _times(factor: float) -> str:
    return f"{factor:.3f} times"


def _uf(value: float) -> str:
    return format_quantity(value, Kind.CAPACITANCE)


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "."
