"""The single answers of a report, each a job of the pool: a study, and the figure that shows it.

Loaded once the folder is known to be sound, and before other processes begin: as copies they have all of it then.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from xover.bench import readings
from xover.bench.build_steps import BuildOrder, build_order
from xover.bench.wiring import WiringList, wiring_list
from xover.blocks import Picture, Text
from xover.drawing.aged import draw_condition
from xover.drawing.bears import draw_crosstalk, draw_stress, draw_tolerance
from xover.drawing.bypass import draw_bypass, draw_bypass_map
from xover.drawing.change import draw_decide, draw_redesign, draw_refresh
from xover.drawing.does import draw_load, draw_off_axis, draw_sensitivity
from xover.drawing.levels import draw_prediction
from xover.drawing.page import words_of
from xover.drawing.save import csv_text, curves_of
from xover.drawing.schematic import draw_schematic
from xover.drawing.svg import figure_svg
from xover.errors import InputError, OptionError
from xover.figures import db
from xover.network import Network
from xover.quantity import hertz
from xover.report.workshop import BUILDS, Answer, NotKnown, Workshop, attempt
from xover.rules.triage import Rung
from xover.sentences import capital
from xover.sound.driver_fit import circuit_of
from xover.sound.prediction import Prediction, predict
from xover.speaker import open_speaker
from xover.studies.aged.condition.study import study_condition
from xover.studies.bears.crosstalk.study import study_crosstalk
from xover.studies.bears.stress.study import study_stress
from xover.studies.bears.tolerance.study import study_tolerance
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.decide.option import Option
from xover.studies.change.decide.study import Decision, work_out
from xover.studies.change.redesign.result import RedesignStudy, redesign_curves
from xover.studies.desk.check.study import CheckStudy, study_check
from xover.studies.does.angles.study import study_off_axis
from xover.studies.does.formula.study import study_formula
from xover.studies.does.formula.terminated import TerminatedNetwork
from xover.studies.does.load.study import LoadStudy, study_load
from xover.studies.does.sensitivity.study import study_sensitivity

Proposed = Mapping[str, Network]
"""Networks that do not stand in the folder, by name."""


@dataclass(frozen=True)
class WrittenFormula:
    """One function as text: exact, and with losses left out; the textbook alignment that it is nearest to, or ""."""

    name: str
    exact: str
    ideal: str
    nearest: str


@dataclass(frozen=True, eq=False)
class Formulas:
    """Formulas as text, which can travel between processes as polynomials cannot; `numbers` in SI units."""

    network: str
    formulas: tuple[WrittenFormula, ...]
    numbers: Mapping[str, float]


def option(shop: Workshop, name: Rung) -> Option:
    """One step of the decision."""
    return work_out(shop.case, name)


def bypass_pictures(shop: Workshop, study: BypassStudy) -> tuple[Picture | Text, ...]:
    """The figures of a bypass."""
    del shop
    title = "Bypass: the sum behind the crossover, and what each channel gets"
    pictures = [_picture("bypass", title, study, draw_bypass, readings.read_bypass)]
    if any(np.isfinite(chart.rms_deviation_db).any() for chart in study.maps):
        title = "Bypass map: corners and slopes, and what each leaves of the sum"
        found = [c for c in study.maps if c.best_slope]
        best = "; ".join(f"{c.best_slope} at {hertz(c.best_hz)}, {db(c.best_db, 2)} dB" for c in found)
        reading = f"Flattest that the upper driver stands: {best}." if found else "No corner is flat and safe at once."
        pictures.append(_picture("bypass-map", title, study, draw_bypass_map, lambda _: reading))
    return tuple(pictures)


def decided(shop: Workshop, decision: Decision) -> Answer:
    """The sums of the steps."""
    del shop
    if not any(np.isfinite(o.level_db).any() for o in decision.options.values()):
        raise OptionError("the sum of none is known", "the list of what is missing says what would tell it")
    title = "Decision: the sums of the steps that matter, and their changes from the design"
    return Answer(decision, _picture("options", title, decision, draw_decide, readings.read_decision))


def sound(shop: Workshop, network: str, proposed: Proposed, name: str) -> Answer:
    """What reaches each driver, and the sum."""
    study = predict(shop.with_networks(proposed), network, shop.frequency_hz)
    title = f"Sum, drivers and drive, network {network}"
    return Answer(study, _picture(name, title, study, draw_prediction, readings.read_prediction))


@dataclass(frozen=True, eq=False)
class Beside:
    """A network that is shown beside the present one and the one to be built."""

    sound: Prediction
    load: LoadStudy


def beside(shop: Workshop, network: str) -> Beside:
    """Figures of one more network of the folder."""
    f = shop.frequency_hz
    return Beside(predict(shop.speaker, network, f), study_load(shop.speaker, network, f))


def load(shop: Workshop, network: str, proposed: Proposed, name: str) -> Answer:
    """What the amplifier sees."""
    study = study_load(shop.with_networks(proposed), network, shop.frequency_hz)
    title = f"Load: magnitude, EPDR and phase, network {network}"
    return Answer(study, _picture(name, title, study, draw_load, readings.read_load))


def check(shop: Workshop) -> CheckStudy:
    """Whether what was typed and measured is sound."""
    mate = shop.request.mate
    return study_check(shop.speaker, None if mate is None else open_speaker(mate))


def condition(shop: Workshop) -> Answer:
    """How far age has moved it."""
    study = study_condition(shop.speaker, shop.frequency_hz)
    title = "Condition: what age has done to sum and drives"
    return Answer(study, _picture("condition", title, study, draw_condition, readings.read_condition))


def sensitivity(shop: Workshop, network: str, proposed: Proposed) -> Answer:
    """Which part matters."""
    study = study_sensitivity(shop.with_networks(proposed), network, shop.frequency_hz)
    title = f"Sensitivity: which part matters, network {network}"
    return Answer(study, _picture("sensitivity", title, study, draw_sensitivity, readings.read_sensitivity))


def tolerance(shop: Workshop, network: str, proposed: Proposed) -> Answer:
    """What tolerances do to it."""
    study = study_tolerance(
        shop.with_networks(proposed), network, shop.frequency_hz, builds=BUILDS, seed=shop.request.seed
    )
    title = f"Tolerance: {BUILDS:,} builds of network {network}"
    return Answer(study, _picture("tolerance", title, study, draw_tolerance, readings.read_tolerance))


def stress(shop: Workshop, network: str, proposed: Proposed) -> Answer:
    """What its parts bear."""
    try:
        study = study_stress(shop.with_networks(proposed), network, frequency_hz=shop.frequency_hz)
    except InputError as fault:  # nothing says how much power there is
        raise OptionError(fault.problem, "add rated_power_w and rated_load_ohm under [amplifier]") from None
    title = f"Stress: watts, volts and amperes in the parts, network {network}"
    return Answer(study, _picture("stress", title, study, draw_stress, readings.read_stress))


def board(shop: Workshop, network: str, proposed: Proposed) -> tuple[Answer | NotKnown, WiringList]:
    """What coupling between its coils does, and the wiring list with the distances that follow from it."""
    speaker = shop.with_networks(proposed)
    study = attempt(study_crosstalk, speaker, network, shop.frequency_hz)
    if isinstance(study, NotKnown):  # such as fewer than two coils
        return study, wiring_list(speaker.network(network), speaker)
    title = f"Coil crosstalk, network {network}"
    drawn = Answer(study, _picture("crosstalk", title, study, draw_crosstalk, readings.read_crosstalk))
    return drawn, wiring_list(speaker.network(network), speaker, crosstalk=study)


def angles(shop: Workshop, network: str, proposed: Proposed) -> Answer:
    """The sum off the axis."""
    study = study_off_axis(shop.with_networks(proposed), network, shop.frequency_hz)
    title = f"Off axis, network {network}"
    return Answer(study, _picture("off-axis", title, study, draw_off_axis, readings.read_off_axis))


def before_and_after(shop: Workshop, worked: Option) -> Answer | None:
    """The refresh or the redesign against what is there; None for another option."""
    title = f"Before and after: {worked.name}"
    if worked.name is Rung.REFRESH or (worked.name is Rung.DRIVER and worked.renews):
        study = worked.study if worked.name is Rung.REFRESH else shop.case.refresh
        return Answer(worked.study, _picture("before-after", title, study, draw_refresh, readings.read_refresh))
    if worked.name in (Rung.REVALUE, Rung.REDESIGN):

        def draw(study: RedesignStudy) -> Any:
            return draw_redesign(study, redesign_curves(study, shop.speaker))

        return Answer(
            worked.study, _picture("before-after", title, worked.study, draw, lambda _: f"{capital(worked.what)}.")
        )
    return None


def schematic(shop: Workshop, network: Network, other: Network | None, title: str, reading: str) -> Picture:
    """The network drawn, old values beside new ones."""
    del shop
    return Picture("schematic", title, draw_schematic(network, other, title=title).svg(), reading, wide=True)


def build(shop: Workshop, network: Network, name: str | None) -> BuildOrder:
    """In which order, with which checks."""
    return build_order(network, shop.speaker, frequency_hz=shop.frequency_hz, name=name)


def formulas(shop: Workshop, network: Network, name: str) -> Formulas:
    """The exact transfer functions; each driver's DC resistance only serves to name the nearest alignment."""
    ohms: dict[str, float] = {}
    for key, driver in ((n, shop.speaker.drivers[n]) for n in network.driver_names):
        if driver.re_ohm is not None:
            ohms[key] = driver.re_ohm
        elif (model := circuit_of(driver)) is not None:
            ohms[key] = model.re_ohm
    study = study_formula(TerminatedNetwork(network, name, ohms, title=shop.speaker.title))
    written = tuple(
        WrittenFormula(key, f.expression, f.ideal_text, "" if f.nearest is None else f.nearest.name)
        for key, f in study.formulas.items()
    )
    return Formulas(name, written, dict(study.numbers))


def _picture(
    name: str, title: str, study: Any, draw: Callable[[Any], Any], read: Callable[[Any], str]
) -> Picture | Text:
    """The figure of a study, or what stands in its place."""

    def drawn() -> Picture:
        figure, reading = draw(study), read(study)
        svg = figure_svg(figure, name=name, title=title, description=reading)
        table = curves_of(figure)
        data = csv_text(table) if table.columns.size else ""
        return Picture(name, title, svg, reading, words_of(figure).notes, data)

    done = attempt(drawn)
    return done.box(f"the figure '{title}'") if isinstance(done, NotKnown) else done
