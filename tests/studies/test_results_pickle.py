"""Results travel between processes: what arrives tells the same, and an option brings what it was worked out with."""

import pickle
from pathlib import Path

import pytest

from xover.curve import log_grid
from xover.parts.catalogue import Catalogue
from xover.plain import to_plain
from xover.rules.triage import Rung
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.aged.condition.study import study_condition
from xover.studies.bears.crosstalk.study import study_crosstalk
from xover.studies.bears.stress.study import study_stress
from xover.studies.bears.tolerance.study import study_tolerance
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.decide.study import study_decide
from xover.studies.change.redesign.result import RedesignStudy
from xover.studies.change.refresh.result import RefreshStudy
from xover.studies.does.load.study import study_load
from xover.studies.does.sensitivity.study import study_sensitivity

FOLDER = Path(__file__).parents[2] / "examples" / "hall-horn-two-way"
GRID = log_grid(20.0, 20_000.0, 12)
STUDIES = {
    "condition": lambda s: study_condition(s, frequency_hz=GRID),
    "crosstalk": lambda s: study_crosstalk(s, "found", GRID),
    "load": lambda s: study_load(s, "found", GRID),
    "predict": lambda s: predict(s, "found", GRID),
    "sensitivity": lambda s: study_sensitivity(s, "found", GRID),
    "stress": lambda s: study_stress(s, "found", GRID),
    "tolerance": lambda s: study_tolerance(s, "found", GRID, builds=100),
}


def _arrived(result):
    return pickle.loads(pickle.dumps(result))


@pytest.fixture(scope="module")
def speaker():
    return open_speaker(FOLDER)


@pytest.mark.parametrize("name", STUDIES)
def test_a_study_arrives_whole(speaker, name):
    result = STUDIES[name](speaker)
    told = to_plain(result)
    assert len(told) >= 3
    assert to_plain(_arrived(result)) == told


def test_a_decision_arrives_whole_with_what_its_options_were_worked_out_with():
    """Of a speaker whose sum is uneven enough that another circuit is looked for."""
    speaker = open_speaker(FOLDER.parent / "attic-two-way" / "right")
    steps = (Rung.REFRESH, Rung.BYPASS, Rung.REDESIGN)
    decision = study_decide(speaker, Catalogue(None), options=steps, frequency_hz=GRID)
    arrived = _arrived(decision)
    assert to_plain(arrived) == to_plain(decision)
    options = arrived.options
    kinds = {Rung.REFRESH: RefreshStudy, Rung.REDESIGN: RedesignStudy, Rung.BYPASS: BypassStudy}
    for name, kind in kinds.items():
        study = options[name].study
        assert isinstance(study, kind)
        assert to_plain(study) == to_plain(decision.options[name].study)
        assert not {"study", "network"} & options[name].plain().keys()
    assert options[Rung.LEAVE].study is None
    assert options[Rung.LEAVE].network == speaker.network("found")
    assert options[Rung.REFRESH].network == options[Rung.REFRESH].study.network
    first = options[Rung.REDESIGN].study.proposals[0]
    assert options[Rung.REDESIGN].netlist == first.netlist
    # As it was judged: the ratings of the parts to buy stand on the cards, values and wiring are the proposal's.
    assert [p.name for p in options[Rung.REDESIGN].network.parts] == [p.name for p in first.network.parts]
    assert options[Rung.BYPASS].network is None
