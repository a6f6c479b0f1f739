"""verify on records of speakers that do not share its assumptions (tests/invented/builds.py); a few of many.

tests/benchmarks/faults_told.py counts on hundreds.
"""

import numpy as np
import pytest
from invented.builds import make, measured, times, with_fault, within

from xover.studies.aged.verify.study import verify

HORN = 3


@pytest.mark.parametrize("k", [None, 0.005, 0.05, 0.3])
def test_a_slipped_decimal_of_a_coil_is_found_with_any_coupling(tmp_path, k):
    """0.33 mH where 3.3 mH is marked."""
    rng = np.random.default_rng(4)
    build = make(tmp_path, rng, HORN, k)
    network = times(within(build.network, rng), "L1", 0.1)
    study = verify(build.speaker, "original", measured(build, network, rng)[0])
    assert ("L1", "a tenth of the value") in {(f.fault.part, f.fault.told) for f in study.tied}, study.headline
    assert {f.fault.part for f in study.tied} == {"L1"}
    assert study.tied[0].explains


def test_a_coil_the_wrong_way_round_beside_another_is_told(tmp_path):
    rng = np.random.default_rng(5)
    build = make(tmp_path, rng, HORN, 0.3)
    network = with_fault(within(build.network, rng), ("reversed", "L1", "L2"), rng)
    study = verify(build.speaker, "original", measured(build, network, rng)[0])
    assert "L1 the wrong way round beside L2" in study.headline
    assert study.tied[0].explains
