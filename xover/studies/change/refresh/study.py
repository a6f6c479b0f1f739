"""Like-for-like replacements that keep the voicing: what to buy, what may stay, and what it does to the sound."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from xover.acoustic.level import level_db
from xover.curve import Float, log_grid
from xover.errors import OptionError, named
from xover.files.stock import StockItem
from xover.network import Network, Part, solve
from xover.network.parts import shown_value
from xover.parts.catalogue import Catalogue
from xover.parts.kinds import kind_of
from xover.parts.stock import enough, make_bill
from xover.rules.audibility import REPEATS_DB
from xover.rules.bands import CHANGES_HZ
from xover.search.filling import Job, fill
from xover.speaker import Speaker
from xover.studies.change.refresh.choice import Choice, Shape, placed
from xover.studies.change.refresh.places import Places, needed_ratings, same_part
from xover.studies.change.refresh.result import Comparison, Exchanged, Policy, RefreshStudy, Simple, damping_changes
from xover.studies.change.refresh.words import headline, place_words, refresh_warnings
from xover.studies.options import Progress, quiet

_SEARCH_PER_OCTAVE: Final = 12
# The grid of the search may miss a little of a peak between its points.
_GRID_SHARE: Final = 0.98


def refresh(
    speaker: Speaker,
    catalogue: Catalogue,
    frequency_hz: Float,
    *,
    found: str | None = None,
    reference: str = "original",
    policy: Policy = Policy.WORN,
    tolerance_db: float = REPEATS_DB,
    progress: Progress = quiet,
) -> RefreshStudy:
    """Find the cheapest parts that bring every driver's drive to that of the reference.

    The reference is the design, losses of new parts included: what age has added is not copied. Parameters and errors
    as declared; where the tolerance cannot be kept, the nearest set is given, and says so.
    """
    if reference not in speaker.network_names:
        raise OptionError(
            f"there is no network '{reference}' to be the reference",
            f"name one with {named('reference')}: {', '.join(speaker.network_names) or 'none yet'}",
        )
    design = speaker.network(reference)
    if found is None and "found" in speaker.network_names and reference != "found":
        found = "found"
    today = speaker.network(found) if found is not None else None
    grid = log_grid(*CHANGES_HZ, _SEARCH_PER_OCTAVE)
    ohm = speaker.impedances_ohm(design, grid)
    at_reference = solve(design, grid, ohm)
    warnings: list[str] = []
    needed = needed_ratings(speaker, solve(design, frequency_hz, speaker.impedances_ohm(design, frequency_hz)))
    if not needed:
        warnings.append("no rated power of the amplifier is known: volts and watts of the parts were not checked")
    old = {p.name: same_part(today, p) if today is not None else p for p in design.parts}
    options = Places(catalogue, policy, design, at_reference, ohm, old, needed, today is not None)
    progress(0.1, "choosing what to try")
    choices = {p.name: options.of(p) for p in design.parts}
    reach = np.isfinite(np.stack(list(at_reference.drive.values()))).any(axis=0)
    if not reach.any():
        raise OptionError(
            "no driver's impedance is known from 200 Hz to 20 kHz", "measure it, or give its datasheet values"
        )
    job = Job(
        design,
        grid,
        ohm,
        {key: level_db(drive) for key, drive in at_reference.drive.items()},
        np.ones(grid.shape, dtype=bool),
        tolerance_db,
        choices,
    )
    chosen, network = _search_within_stock(speaker, job, design, tolerance_db, progress)
    network = _titled(network, f"{speaker.title}: refreshed to '{reference}'", f"Parts from {catalogue.source}")
    naive = options.naive()
    naive_network = _titled(_rebuilt(design, naive), f"{speaker.title}: naive swap", network.notes[0])
    compare = Comparison(speaker, design, frequency_hz)
    refreshed = compare.difference(network)
    simple = None
    if any(c.shape is Shape.TWO_LEGS for c in chosen.values()):
        progress(0.8, "the same with series resistors only")
        plain = {n: [c for c in o if c.shape is not Shape.TWO_LEGS] for n, o in choices.items()}
        nearest = fill(replace(job, options=plain)).chosen
        rebuilt = _rebuilt(design, nearest)
        simple = Simple(
            _titled(rebuilt, f"{speaker.title}: refreshed with series resistors only", network.notes[0]),
            {n: c.words for n, c in nearest.items() if not c.keeps},
            compare.difference(rebuilt),
            make_bill(_bought(nearest, design)),
        )
    exchanged = tuple(_exchanged(options, p, chosen[p.name], today is not None) for p in design.parts)
    study = RefreshStudy(
        title=speaker.title,
        found=found,
        reference=reference,
        policy=policy,
        source=catalogue.source,
        tolerance_db=tolerance_db,
        band_hz=compare.band_hz,
        frequency_hz=frequency_hz,
        refreshed=refreshed,
        naive=compare.difference(naive_network),
        before=compare.difference(today) if today is not None else None,
        network=network,
        naive_network=naive_network,
        exchanged=exchanged,
        bill=make_bill(_bought(chosen, design)),
        naive_bill=make_bill(_bought(naive, design)),
        simple=simple,
        damping=damping_changes(speaker, design, network),
        headline="",
        warnings=(),
    )
    warnings += options.warnings + refresh_warnings(study, design, today)
    return replace(study, headline=headline(study), warnings=tuple(dict.fromkeys(warnings)))


def _search_within_stock(
    speaker: Speaker, job: Job[Choice], design: Network, tolerance_db: float, progress: Progress
) -> tuple[Mapping[str, Choice], Network]:
    """Search, then see that the fine grid agrees and that the list holds enough of everything for a pair."""
    fine = log_grid(*CHANGES_HZ, 48)
    compare = Comparison(speaker, design, fine)
    best: tuple[float, Mapping[str, Choice], Network] | None = None
    for _ in range(6):
        progress(0.2, "searching")
        found = fill(job)
        short = enough(item for c in found.chosen.values() for item in c.items)
        if short:
            gone = {id(s.item) for s in short if s.at_hand < s.needed}
            job = replace(job, options={n: _without(o, gone) for n, o in job.options.items()})
            continue
        network = _rebuilt(design, found.chosen)
        worst = compare.difference(network).worst_db
        if best is None or worst < best[0]:
            best = (worst, found.chosen, network)
        if worst <= tolerance_db or found.worst_db > job.tolerance_db:
            break
        job = replace(job, tolerance_db=job.tolerance_db * tolerance_db / worst * _GRID_SHARE)
    if best is None:
        raise OptionError(
            "the list holds too few pieces to build a pair alike", "raise the quantity column, or refresh one speaker"
        )
    return best[1], best[2]


def _without(choices: Sequence[Choice], gone: set[int]) -> list[Choice]:
    left = [c for c in choices if not any(id(item) in gone for item in c.items)]
    return left or list(choices)


def _rebuilt(design: Network, chosen: Mapping[str, Choice]) -> Network:
    """The reference with every place filled."""
    taken = {p.name.lower() for p in (*design.parts, *design.drivers)}
    taken |= {n for e in (*design.parts, *design.drivers) for n in (e.a, e.b)}

    def fresh(wanted: str) -> str:
        name, number = wanted, 1
        while name.lower() in taken:
            number += 1
            name = f"{wanted}{number}"
        taken.add(name.lower())
        return name

    parts = tuple(new for part in design.parts for new in placed(chosen[part.name], part, fresh))
    return replace(design, parts=parts, path=None)


def _titled(network: Network, title: str, note: str) -> Network:
    return replace(network, title=title, notes=(note,))


def _bought(chosen: Mapping[str, Choice], design: Network) -> list[tuple[str, StockItem]]:
    """(name in the netlist, item), in the order of the cards."""
    rebuilt = iter(_rebuilt(design, chosen).parts)
    out: list[tuple[str, StockItem]] = []
    for part in design.parts:
        choice = chosen[part.name]
        names = [next(rebuilt).name for leg in choice.legs for _ in leg]
        out += zip(names[len(names) - len(choice.items) :], choice.items, strict=True)
    return out


def _exchanged(options: Places, part: Part, choice: Choice, measured: bool) -> Exchanged:
    old = options.old[part.name]
    stays = choice.keeps
    effect, at_hz, on = options.effect_db(part, old) if old is not None and measured else (math.nan, math.nan, "")
    told, named = place_words(part, choice, effect, at_hz, on, measured)
    return Exchanged(
        part=part.name,
        kind=kind_of(old or part),
        design=shown_value(part),
        old=shown_value(old) if old is not None and measured else None,
        fitted=choice.words,
        stays=stays,
        old_effect_db=effect,
        old_effect_at_hz=at_hz,
        old_effect_on=on,
        told=told,
        named=named,
    )
