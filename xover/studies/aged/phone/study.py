"""What levels of third octaves say: of the phone, of changes, of a pair, of polarity, of sums and of levels."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.bands import (
    Levels,
    again_slips,
    difference,
    levels_of,
    middle_hz,
    place_scatter_db,
    plain_slopes_db,
    put_back_db,
    repeat_db,
)
from xover.acoustic.level import bands_touched, nominal_hz
from xover.curve import Float
from xover.errors import InputError, OptionError, named
from xover.files.band_levels import BandTable, Word, read_band_levels
from xover.rules.audibility import DIRECT_DB, HARD_DB, MATCHED_DB, UNHEARD_DB
from xover.rules.instruments import SIGMAS
from xover.rules.phone import FEW_SLIPS, GAIN_DB, REVERBERATION_S, SURE_SIGMAS, TURNED_DOWN_DB
from xover.sound.doubt import unready
from xover.sound.room_change import RoomChange, room_change
from xover.speaker import Speaker
from xover.studies.aged.phone.drivers import read_balance, read_polarity, read_sums
from xover.studies.aged.phone.result import (
    Change,
    Changed,
    GainTest,
    Held,
    Next,
    OctaveChange,
    PhoneStudy,
    Polarity,
    Slip,
    Sums,
)
from xover.studies.aged.phone.words import headline

_MEANT: Final = 0.75
"""A column that is so like a name of the folder, of 1, is that name mistyped."""


@dataclass(frozen=True)
class Columns:
    """What the columns of a table are in this folder, by their own names: networks, drivers, and states of neither."""

    networks: dict[str, str]
    drivers: dict[str, str]
    states: tuple[str, ...]

    def played(self, table: BandTable) -> tuple[str, ...]:
        """Columns of whole speakers, in the table's order."""
        return tuple(c for c in table.named if c in self.networks or c in self.states)


def study_phone(
    speaker: Speaker, levels: Path | str, network: str | None = None, right: Path | str | None = None
) -> PhoneStudy:
    """Read a table of levels and tell what it can.

    Raises InputError, OptionError: the table; a column that is nearly a name of the folder; a word without the column
    that it belongs to.
    """
    table = read_band_levels(levels)
    columns = columns_of(table, speaker)
    name = speaker.network_or_default(network or next(iter(columns.networks.values()), None))
    gain = _gain_tests(table)
    other = None if right is None else read_band_levels(right)
    if other is not None:
        gain += _gain_tests(other)
    study = PhoneStudy(
        title=speaker.title,
        table=table,
        states=columns.states,
        alone=tuple(columns.drivers),
        hidden=_hidden(table),
        textbook_db=plain_slopes_db(),
        gain=gain,
    )
    if study.automatic:
        return replace(study, headline=headline(study))
    turned = belongs_to(table, Word.REVERSED, columns.networks)
    sums, polarity = None, tuple[Polarity, ...]()
    if turned is not None:
        sums = read_sums(speaker, table, turned, columns.networks[turned], columns.drivers)
    slips = _slips(table, gain[:1] if Word.QUIETER in table.columns else (), sums)
    clean = _without(table, slips)
    if turned is not None:
        polarity = read_polarity(speaker, clean, turned, columns.networks[turned])
    study = replace(
        study,
        changes=_changes(speaker, clean, columns),
        sides=_sides(clean, columns, other),
        polarity=polarity,
        sums=sums,
        slips=slips,
        balance=read_balance(speaker, clean, name, columns.drivers),
        next=_next(speaker, table, columns, other, name),
    )
    return replace(study, headline=headline(study))


def _slips(table: BandTable, gain: Sequence[GainTest], sums: Sums | None) -> tuple[Slip, ...]:
    """Lines that hold a typing error, with the columns that all tests which see it share."""
    band = {int(line): float(hz) for line, hz in zip(table.line, table.band_hz, strict=True)}
    seen = [Slip(line, band[line], (test.column, Word.QUIETER)) for test in gain for line in test.slips]
    if table.again_of is not None:
        pair = (table.again_of, Word.AGAIN)
        seen += [Slip(line, band[line], pair) for line in map(int, table.line[again_slips(table)])]
    if sums is not None and not sums.many:
        seen += sums.mistyped
    found: dict[int, Slip] = {}
    for slip in seen:
        before = found.get(slip.line)
        shared = tuple(c for c in slip.columns if before is None or c in before.columns)
        found[slip.line] = replace(slip, columns=shared or slip.columns)
    return tuple(found[line] for line in sorted(found))


def _without(table: BandTable, slips: Sequence[Slip]) -> BandTable:
    """The table but for lines that hold a typing error."""
    kept = ~np.isin(table.line, [slip.line for slip in slips])
    return replace(table, columns={name: np.where(kept, level, np.nan) for name, level in table.columns.items()})


def columns_of(table: BandTable, speaker: Speaker) -> Columns:
    """Sort the columns. Raises InputError: one that is nearly, but not quite, a name of the folder or a known word."""
    networks = {name.lower(): name for name in speaker.network_names}
    drivers = {name.lower(): name for name in speaker.drivers}
    found = Columns({}, {}, ())
    for column in table.named:
        if column.lower() in networks:
            found.networks[column] = networks[column.lower()]
        elif column.lower() in drivers:
            found.drivers[column] = drivers[column.lower()]
        else:
            known = [*networks, *drivers, *Word]
            near = difflib.get_close_matches(column.lower()[:64], known, n=1, cutoff=_MEANT)
            if near:
                raise InputError(
                    f"the column '{column[:40]}' is no network and no driver of {speaker.title or 'this folder'}",
                    f"did you mean '{near[0]}'? A state that the folder does not hold needs a name unlike those",
                    table.source,
                    table.heading,
                )
            found = replace(found, states=(*found.states, column))
    return found


def belongs_to(table: BandTable, word: Word, among: Sequence[str] | dict[str, str]) -> str | None:
    """The column that a word's column belongs to; None where the table has no such word. Raises InputError."""
    if word not in table.columns:
        return None
    found = table.before(word, list(among))
    if found is None:
        raise InputError(
            f"the column '{word}' belongs to no other",
            "put it behind the column of a network of the folder, such as found",
            table.source,
            table.heading,
        )
    return found


def _gain_tests(table: BandTable) -> tuple[GainTest, ...]:
    """With the amplifier turned down each band falls alike, but for how levels scatter."""
    of = belongs_to(table, Word.QUIETER, table.named)
    if of is None:
        return ()
    fell = difference(levels_of(table, of), levels_of(table, Word.QUIETER))
    off = np.abs(fell.level_db - TURNED_DOWN_DB)
    if not np.isfinite(off).any():
        return (GainTest(of, float("nan"), float("nan"), float("nan"), None, ()),)
    out = np.flatnonzero(np.nan_to_num(off - SURE_SIGMAS * fell.doubt_db, nan=-1.0) > GAIN_DB)
    worst = int(np.nanargmax(off - SURE_SIGMAS * fell.doubt_db))
    median = float(np.nanmedian(fell.level_db))
    # A median of levels in coarse steps is no surer than half a step.
    automatic = abs(median - TURNED_DOWN_DB) > max(GAIN_DB, table.step_db / 2.0) or out.size > FEW_SLIPS
    slips = tuple(int(table.line[i]) for i in out)
    return (GainTest(of, median, float(table.band_hz[worst]), float(fell.level_db[worst]), automatic, slips),)


def _hidden(table: BandTable) -> dict[str, tuple[float, ...]]:
    found = {}
    for name, level in table.columns.items():
        lost = np.isfinite(level) & ~np.isfinite(levels_of(table, name).level_db)
        if lost.any():
            found[name] = tuple(float(hz) for hz in table.band_hz[lost])
    return found


def _changes(speaker: Speaker, table: BandTable, columns: Columns) -> tuple[Change, ...]:
    """Each later state against the first."""
    played = columns.played(table)
    return tuple(_between(speaker, table, columns, (played[0], other)) for other in played[1:])


def _between(speaker: Speaker, table: BandTable, columns: Columns, pair: tuple[str, str]) -> Change:
    """The second column of two less the first."""
    before, after = (columns.networks.get(c) for c in pair)
    said = None
    if before is not None and after is not None and not unready(speaker, speaker.network(before).driver_names):
        said = room_change(speaker, speaker.network(after), speaker.network(before), middle_hz(table.band_hz))
    levels = levels_of(table, pair[1]), levels_of(table, pair[0])
    return _change(table.band_hz, pair, levels, repeat_db(table), UNHEARD_DB, said)


def change_heard(speaker: Speaker, levels: Path | str, after: str, before: str | None = None) -> Change:
    """What a phone heard of a change of network, held against its prediction; lines with slips of typing left out.

    Parameters
    ----------
    after, before : networks of the folder; None: the first other one that was read.

    Raises InputError, OptionError: the table; a network without a column; a phone that sets its gain by itself.
    """
    table = read_band_levels(levels)
    columns = columns_of(table, speaker)
    gain = _gain_tests(table)
    if any(test.automatic for test in gain):
        raise OptionError(
            f"{table.source} is of a phone that sets its gain by itself", "switch that off and read again"
        )
    column = {network: c for c, network in columns.networks.items()}
    first = before or next((n for n in column if n != after), None)
    for name in (after, first):
        if name not in column:
            raise OptionError(
                f"{table.source} has no column {'of another network' if name is None else repr(name)}, only "
                f"{', '.join(table.columns)}: without it room and microphone do not cancel",
                f"read a column for each of two networks, or give another file as {named('levels')}",
            )
    clean = _without(table, _slips(table, gain[:1], None))
    return _between(speaker, clean, columns, (column[str(first)], column[after]))


def _sides(table: BandTable, columns: Columns, mate: BandTable | None) -> Change | None:
    """The other speaker of the pair, in a column of its own or in a table of its own."""
    played = columns.played(table)
    if mate is None:
        of = belongs_to(table, Word.RIGHT, played)
        if of is None:
            return None
        pair = levels_of(table, Word.RIGHT), levels_of(table, of)
        repeat = np.fmax(repeat_db(table), put_back_db(table.band_hz))
        return _change(table.band_hz, (of, Word.RIGHT), pair, repeat, HARD_DB)
    both = [c for c in played if c.lower() in [name.lower() for name in mate.named]]
    if not both:
        raise InputError(
            f"has no column of {Path(table.source).name} that is a whole speaker",
            f"name one of its columns as there: {', '.join(played) or 'found'}",
            mate.source,
            mate.heading,
        )
    theirs = next(name for name in mate.named if name.lower() == both[0].lower())
    rows = [int(np.flatnonzero(mate.band_hz == hz)[0]) if hz in mate.band_hz else -1 for hz in table.band_hz]

    def there(values: Float) -> Float:
        return np.where(np.array(rows) >= 0, values[rows], np.nan)

    right = levels_of(mate, theirs)
    repeat = np.fmax(np.fmax(repeat_db(table), there(repeat_db(mate))), put_back_db(table.band_hz))
    elsewhere = not table.place or table.place.lower() != mate.place.lower()
    if elsewhere:
        repeat = np.hypot(repeat, np.sqrt(2.0) * place_scatter_db(table.band_hz, REVERBERATION_S))
    pair = Levels(there(right.level_db), there(right.doubt_db)), levels_of(table, both[0])
    names = (Path(table.source).name, Path(mate.source).name)
    return replace(_change(table.band_hz, names, pair, repeat, HARD_DB), elsewhere=elsewhere)


def _change(
    band_hz: Float,
    names: tuple[str, str],
    pair: tuple[Levels, Levels],
    repeat: Float,
    unheard_db: float,
    said: RoomChange | None = None,
) -> Change:
    """First of `pair` less the second, held against what is predicted of it."""
    whole, bare = difference(*pair, repeat), difference(*pair)
    middle = middle_hz(band_hz)
    nothing = np.full(band_hz.shape, np.nan)
    predicted, beside, parts = (said.change_db, said.beside_db, said.parts_db) if said else (nothing, nothing, nothing)
    bound = np.where(np.isfinite(predicted), np.hypot(beside, parts), np.inf)
    octaves = []
    for centre in bands_touched(float(middle[0]), float(middle[-1]), 1):
        rows = (np.abs(np.log2(middle / centre)) < 0.5) & np.isfinite(whole.level_db)
        if not rows.any():
            continue
        change, within = _mean(bare, repeat, rows)
        held = rows & np.isfinite(bound)
        off = off_within = expected = float("nan")
        if held.any():
            weight = 1.0 / (whole.within_db[held] ** 2 + bound[held] ** 2)
            weight /= weight.sum()
            off = float(weight @ (whole.level_db - predicted)[held])
            half = SIGMAS * np.hypot(np.linalg.norm(weight * bare.doubt_db[held]), weight @ repeat[held])
            off_within = float(np.hypot(half, weight @ bound[held]))
            expected = change - off if (bound[rows] <= DIRECT_DB).all() else float("nan")
        verdict, agrees = _changed(change, within, unheard_db), _held(off, off_within)
        name = nominal_hz(float(centre))
        octaves.append(OctaveChange(name, change, within, verdict, expected, off, off_within, agrees))
    return Change(*names, band_hz, whole.level_db, whole.within_db, predicted, bound, tuple(octaves))


def _mean(bare: Levels, repeat: Float, rows: NDArray[np.bool_]) -> tuple[float, float]:
    """Mean over bands and +-: scatter and steps are each band's own, the phone's place is taken as alike in all."""
    count = int(np.count_nonzero(rows))
    own = float(np.sqrt(np.sum(bare.doubt_db[rows] ** 2))) / count
    return float(bare.level_db[rows].mean()), SIGMAS * float(np.hypot(own, repeat[rows].mean()))


def _changed(change_db: float, within_db: float, unheard_db: float) -> Changed:
    if abs(change_db) > max(within_db, MATCHED_DB):
        return Changed.YES
    return Changed.NO if abs(change_db) + within_db <= unheard_db else Changed.CANNOT_TELL


def _held(off_db: float, within_db: float) -> Held:
    if abs(off_db) > within_db + UNHEARD_DB:
        return Held.DIFFERS
    return Held.AGREES if within_db <= DIRECT_DB else Held.NOT_KNOWN


def _next(speaker: Speaker, table: BandTable, columns: Columns, mate: BandTable | None, name: str) -> tuple[Next, ...]:
    """What is not in the table, the most needed first."""
    has = table.columns
    drivers = set(speaker.network(name).driver_names)
    lacking = {
        Next.NETWORK: len(columns.played(table)) < 2,
        Next.QUIETER: Word.QUIETER not in has,
        Next.SILENCE: Word.SILENCE not in has,
        Next.AGAIN: Word.AGAIN not in has,
        Next.REVERSED: Word.REVERSED not in has and len(drivers) > 1,
        Next.DRIVERS: len(drivers) > 1 and not drivers <= set(columns.drivers.values()),
        Next.OTHER_SIDE: Word.RIGHT not in has and mate is None,
        Next.KNOWN: bool(columns.drivers) and Word.KNOWN not in has,
    }
    return tuple(column for column, lacks in lacking.items() if lacks)
