"""The advice that an experienced restorer would sign: every case of the table, through the command line."""

import pytest
from advice_run import advise
from cases import CASES, table
from demands import of_every_answer

GOT: dict[str, str] = {}


@pytest.fixture(scope="module", autouse=True)
def summary():
    """Print the table at the end: pytest -s -n 0 tests/advice."""
    yield
    print(f"\n{table(GOT)}")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_case(case, tmp_path):
    told = advise(case.make(tmp_path), *case.options)
    GOT[case.name] = told.rung
    wrong = list(of_every_answer(told, case.for_safety))
    if told.rung not in case.rungs:
        wrong.append(f"{told.rung}, where the trade says {' or '.join(case.rungs)}: {case.why}")
    wrong += [w for w in (demand(told) for demand in case.demands) if w]
    assert not wrong, "\n".join([*wrong, "", told.text])
