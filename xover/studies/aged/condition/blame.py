"""Which part is to blame: each changed part aged alone, put right alone, and its share when all act together.

All differences are exact: every combination is solved, none is a derivative.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.network import Network, solve
from xover.network.parts import Coupling, Part, settings
from xover.readable import Readable
from xover.sound.change import Rows, Worst, change_db, difference_db, largest, size_of
from xover.sound.sums import Listener

MOST_SHARED: Final = 10
"""Up to so many changed parts every combination of them is solved, 1024 at most."""
_SOLVED_BYTES: Final = 100_000_000
SHARE_METHOD: Final = (
    "Shapley value of the rms change of the sum over log frequency: a part's mean effect over all orders in which "
    "the parts could have aged; the shares add up to the whole"
)

Pair = tuple[Part, Part] | tuple[Coupling, Coupling]
"""One part or coupling, as marked and as found."""


@dataclass(frozen=True, eq=False)
class LookedAt:
    """A network with its drivers, and where its drives and its sum are looked at.

    Attributes
    ----------
    frequency_hz : (n,). driver_ohm : (n,) by driver's name.
    rows : (n,) where each drive is looked at, by key. inside : (n,) the band.
    """

    network: Network
    frequency_hz: Float
    driver_ohm: Mapping[str, Complex]
    listener: Listener
    rows: Mapping[str, Rows]
    inside: Rows

    def drives(self, values: Mapping[str, Float] | None = None) -> dict[str, Complex]:
        """(k, n) drives of candidates, by key; (n,) without any. So many are solved at a time as take little memory."""
        count = max((v.size for v in (values or {}).values()), default=0)
        each = self.frequency_hz.size * 4 * (len(self.network.parts) + len(self.network.drivers)) * 16
        step = max(1, _SOLVED_BYTES // each)
        if values is None or count <= step:
            return dict(solve(self.network, self.frequency_hz, self.driver_ohm, values).drive)
        several = [
            self.drives({name: v[start : start + step] if v.size > 1 else v for name, v in values.items()})
            for start in range(0, count, step)
        ]
        return {key: np.concatenate([one[key] for one in several]) for key in several[0]}

    def largest(self, change: Float) -> Worst:
        """The largest change of the sum in the band."""
        return largest(self.frequency_hz, change, self.inside)

    def largest_drive(self, key: str, before: Complex, after: Complex) -> Worst:
        """The largest change of a drive where it is looked at."""
        return largest(self.frequency_hz, change_db(before, after), self.rows[key])


@dataclass(frozen=True, eq=False, repr=False)
class PartBlame(Readable):
    """What one changed part does. All changes are looked for in the study's band.

    Attributes
    ----------
    name : of the part or coupling.
    alone_db : (n,) change of the sum when only this part has aged. alone, alone_drive : the largest, of the sum
        and of each drive (where it lies within 20 dB of its highest).
    remains_db : (n,) change of the sum that is left when only this part is put right. remains, remains_drive.
    mended : the largest change of the sum that putting right this part alone makes today.
    share_db : its part of the rms change of the sum, dB; None where that was not worked out. share : the same as a
        fraction of the whole; negative for a part that makes good what others do.
    """

    name: str
    alone_db: Float
    alone: Worst
    alone_drive: Mapping[str, Worst]
    remains_db: Float
    remains: Worst
    remains_drive: Mapping[str, Worst]
    mended: Worst
    share_db: float | None
    share: float | None

    @property
    def most_moved(self) -> tuple[str, Worst]:
        """The driver whose drive it moves most when it alone has aged, by key, and how."""
        return max(self.alone_drive.items(), key=lambda item: size_of(item[1]))

    @property
    def effect_db(self) -> float:
        """The most it does to the sum: aged alone, or put right alone; NaN where the sum is not known.

        Where no sum is known, the most it does to a drive.
        """
        sizes = [size_of(w) for w in (self.alone, self.mended)]
        if max(sizes) < 0:
            sizes = [size_of(self.most_moved[1])]
        return max(sizes) if max(sizes) >= 0 else math.nan


@dataclass(frozen=True, eq=False, repr=False)
class Blame(Readable):
    """The changed parts, most to blame first.

    Attributes
    ----------
    together_db : (n,) change of the sum when all have aged. together : the largest.
    interaction_db : (n,) the same less all changes of single parts added up. interaction : the largest.
    rms_db : root mean square of the change of the sum over log frequency, in the band; NaN where not known.
    share_method : how the shares were worked out, or why not.
    combinations : how many were solved.
    """

    parts: tuple[PartBlame, ...]
    together_db: Float
    together: Worst
    interaction_db: Float
    interaction: Worst
    rms_db: float
    share_method: str
    combinations: int

    def of(self, name: str) -> PartBlame | None:
        """The part of that name, whatever the case; None if it has not changed."""
        return next((p for p in self.parts if p.name.lower() == name.lower()), None)


def clashing_names(network: Network, pairs: Sequence[Pair]) -> str | None:
    """A part whose name also reads as the loss of a changed part, so that its candidates cannot be told apart."""
    names = {p.name for p in network.parts}
    return next((name for pair in pairs for name in _numbers(pair)[0] if name != pair[0].name and name in names), None)


def find_blame(at: LookedAt, pairs: Sequence[Pair]) -> Blame:
    """Solve all combinations of changed parts that are needed, in one batch.

    Parameters
    ----------
    at : the original; the found network differs from it in the values of `pairs` alone.
    pairs : changed parts and couplings, one or more.
    """
    count = len(pairs)
    every = count <= MOST_SHARED
    aged = all_combinations(count) if every else _single_combinations(count)
    values: dict[str, Float] = {}
    for column, pair in enumerate(pairs):
        then, now = _numbers(pair)
        values |= {name: np.where(aged[:, column], now[name], then[name]) for name in then}
    drive = at.drives(values)
    level = at.listener.levels_db(drive)
    change = difference_db(level[:1], level)
    where = {_key(row): number for number, row in enumerate(aged)}
    none, whole = np.zeros(count, dtype=bool), np.ones(count, dtype=bool)
    total, first = change[where[_key(whole)]], where[_key(none)]

    def moved(row: int) -> dict[str, Worst]:
        return {key: at.largest_drive(key, value[first], value[row]) for key, value in drive.items()}

    found = []
    singles = np.zeros(at.frequency_hz.shape)
    sizes, rms = _rms(change, at.inside)
    shares = _shapley(aged, sizes, count) if every and math.isfinite(rms) else None
    for column, pair in enumerate(pairs):
        alone = where[_key(_with(none, column, True))]
        right = where[_key(_with(whole, column, False))]
        singles = singles + change[alone]
        share = None if shares is None else float(shares[column])
        found.append(
            PartBlame(
                name=pair[0].name,
                alone_db=change[alone],
                alone=at.largest(change[alone]),
                alone_drive=moved(alone),
                remains_db=change[right],
                remains=at.largest(change[right]),
                remains_drive=moved(right),
                mended=at.largest(difference_db(total, change[right])),
                share_db=share,
                share=None if share is None or rms == 0 else share / rms,
            )
        )
    apart = difference_db(singles, total)
    return Blame(
        parts=tuple(sorted(found, key=lambda p: -np.nan_to_num(p.effect_db, nan=-1.0))),
        together_db=total,
        together=at.largest(total),
        interaction_db=apart,
        interaction=at.largest(apart),
        rms_db=rms,
        share_method=_method(every, shares is not None, count),
        combinations=len(aged),
    )


def _numbers(pair: Pair) -> tuple[dict[str, float], dict[str, float]]:
    """What differs between the two, by the name of its candidate: as marked, and as found."""
    then, now = pair
    before = {"": then.k} if isinstance(then, Coupling) else settings(then)
    today = {"": now.k} if isinstance(now, Coupling) else settings(now)
    return {then.name + end: before[end] for end in before}, {then.name + end: today[end] for end in before}


def all_combinations(count: int) -> NDArray[np.bool_]:
    """(2^count, count) row r has the bits of r."""
    return np.asarray((np.arange(2**count)[:, None] >> np.arange(count)) % 2 == 1)


def _single_combinations(count: int) -> NDArray[np.bool_]:
    """None aged, each alone, all but each, all."""
    one = np.eye(count, dtype=bool)
    return np.concatenate([np.zeros((1, count), dtype=bool), one, ~one, np.ones((1, count), dtype=bool)])


def _key(aged: NDArray[np.bool_]) -> bytes:
    return aged.tobytes()


def _with(aged: NDArray[np.bool_], column: int, value: bool) -> NDArray[np.bool_]:
    out = aged.copy()
    out[column] = value
    return out


def _rms(change: Float, inside: Rows) -> tuple[Float, float]:
    """(k,) rms of each candidate's change over the rows where all are known, and that of all aged; NaN if none."""
    known = inside & np.isfinite(change).all(axis=0)
    if not known.any():
        return np.full(len(change), np.nan), math.nan
    sizes = np.sqrt(np.mean(change[:, known] ** 2, axis=1))
    return sizes, float(sizes[-1])


def _shapley(aged: NDArray[np.bool_], size: Float, count: int) -> Float:
    """(count,) Shapley values of a game whose value is known for every coalition, rows in the order of their bits.

    phi_i = sum over coalitions S without i of |S|! (n - |S| - 1)! / n! (v(S + i) - v(S)); L. S. Shapley, A value for
    n-person games, 1953 (from memory).
    """
    members = aged.sum(axis=1)
    weight = np.array([math.factorial(s) * math.factorial(count - s - 1) / math.factorial(count) for s in range(count)])
    shares = np.empty(count)
    for column in range(count):
        without = np.flatnonzero(~aged[:, column])
        shares[column] = np.sum(weight[members[without]] * (size[without + 2**column] - size[without]))
    return shares


def _method(every: bool, shared: bool, count: int) -> str:
    if shared:
        return SHARE_METHOD
    if every:
        return "no shares: the sum is not known"
    return f"no shares: {count} parts have changed, more than {MOST_SHARED}, so each was looked at by itself only"
