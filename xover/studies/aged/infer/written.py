"""The network with what was inferred, as a netlist for the folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from xover.curve import Float
from xover.errors import NoSolutionError
from xover.explain.estimate import Fit, fit
from xover.explain.model import with_values
from xover.network import Network, Part
from xover.network.netlist_text import netlist_text

# Digits that are written.
_DIGITS: Final = 4
_COUPLING_PLACES: Final = 6
# Spread, as a share of the number, that holds an unknown where it is.
_HELD: Final = 1e-6

NOTES: Final = (
    "evidence=inferred: the sweep shows it. evidence=marked: it does not, and the mark was left as it is.",
    "evidence=assumed: it does not, and the mark does not go with the sweep.",
)


def inferred_netlist(network: Network, found: Fit, seen: Sequence[bool], scale: float, title: str, note: str) -> str:
    """Netlist text.

    What the sweeps do not show is left as marked, and the rest fitted again to go with it; where the sweeps speak
    against that, everything has its most plausible value.

    Parameters
    ----------
    seen : for each unknown of the network. scale : of the residuals' standard deviation.
    """
    at, held = _as_marked(found, seen, scale)
    sought = found.problem.sought
    evidence = {
        u.name: "inferred" if shows else "marked" if u.name in held else "assumed"
        for u, shows in zip(sought, seen, strict=True)
        if u.is_value
    }
    renewed = with_values(network, sought, at)
    parts = tuple(_said(part, evidence[part.name]) if part.name in evidence else part for part in renewed.parts)
    couplings = tuple(replace(c, k=round(c.k, _COUPLING_PLACES)) for c in renewed.couplings)
    return netlist_text(replace(renewed, title=title, parts=parts, couplings=couplings), [note, *NOTES])


def _as_marked(found: Fit, seen: Sequence[bool], scale: float) -> tuple[Float, frozenset[str]]:
    """(u,) coordinates, and the names of what was left as marked."""
    problem = found.problem
    count = len(problem.sought)
    kept = frozenset(u.name for u, shows in zip(problem.sought, seen, strict=True) if not shows and u.marked > 0)
    if not kept:
        return found.at[:count], kept
    start = found.at.copy()
    sought = list(problem.sought)
    for place, unknown in enumerate(problem.sought):
        if unknown.name in kept:
            mark = float(np.log(unknown.marked)) if unknown.logarithmic else unknown.marked
            start[place] = mark
            sought[place] = replace(unknown, centre=mark, spread=_HELD * (1.0 if unknown.logarithmic else mark))
    try:
        again = fit(replace(problem, sought=tuple(sought)), start, rounds=1, row_weight=list(found.weights.row_weight))
    except (NoSolutionError, np.linalg.LinAlgError):
        return found.at[:count], frozenset()
    # By chance, left where they truly are, so many would cost about their number; 95 % by the normal approximation.
    may_cost = len(kept) + 1.645 * np.sqrt(2.0 * len(kept))
    if (again.chi_square - found.chi_square) / scale**2 > may_cost:
        return found.at[:count], frozenset()
    return again.at[:count], kept


def _said(part: Part, evidence: str) -> Part:
    """Rounded, and without the tolerance that it had when it was new."""
    names = ("ohm", "henry", "farad", "dcr_ohm", "esr_ohm", "dissipation_factor")
    values: dict[str, Any] = {n: float(f"{getattr(part, n):.{_DIGITS}g}") for n in names if hasattr(part, n)}
    fields = tuple((key, text) for key, text in part.fields if key not in ("tol", "evidence"))
    return replace(part, fields=(*fields, ("evidence", evidence)), **values)
