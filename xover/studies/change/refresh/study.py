"""Like-for-like replacements that keep the voicing: what to buy, what may stay, and what it does to the sound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from xover.acoustic.level import level_db
from xover.curve import Float, log_grid
from xover.errors import OptionError, named
from xover.files.stock import StockItem
from xover.network import Capacitor, Network, Part, solve, value_of
from xover.network.alike import named_like
from xover.network.parts import shown_value
from xover.parts.catalogue import Catalogue
from xover.parts.kinds import kind_of
from xover.parts.stock import enough, make_bill
from xover.rules.audibility import BUILT_DB, REPEATS_DB, UNHEARD_DB
from xover.rules.bands import CHANGES_HZ
from xover.rules.likeness import SAME_DRIVE
from xover.search.filling import Found, Job, frontier
from xover.sound.change import near_highest
from xover.sound.pairing import drives_like, not_compared
from xover.sound.prediction import undriven
from xover.speaker import Speaker
from xover.studies.change.refresh.built import as_built
from xover.studies.change.refresh.choice import Choice, placed
from xover.studies.change.refresh.pairs import Pairs, in_pairs
from xover.studies.change.refresh.places import Places, State, needed_ratings, same_part
from xover.studies.change.refresh.result import (
    Comparison,
    Difference,
    Exchanged,
    Mate,
    Policy,
    RefreshStudy,
    Step,
    damping_changes,
)
from xover.studies.change.refresh.words import headline, place_words, refresh_warnings
from xover.studies.options import Progress, quiet

_SEARCH_PER_OCTAVE: Final = 12
_MOST_EACH: Final = 4
"""Parts that one place may take."""
_MOST_MORE: Final = 8
"""Parts beyond the fewest that are looked at: more are never worth it."""
_PASSES: Final = 6
_SAME_DB: Final = 0.02
"""Steps that come nearer by less are none."""


def refresh(
    speaker: Speaker,
    catalogue: Catalogue,
    frequency_hz: Float,
    *,
    found: str | None = None,
    reference: str = "original",
    policy: Policy = Policy.NEEDED,
    tolerance_db: float | None = None,
    mate: Speaker | None = None,
    progress: Progress = quiet,
) -> RefreshStudy:
    """Find for each number of bought parts the set that brings every drive nearest to the reference's, and pick one.

    The reference is the design, losses of new parts included: what age has added is not copied. Parameters and errors
    as declared; the rule of the pick is `pick_of`'s.
    """
    pairs: Pairs = {}
    if mate is not None:
        catalogue, pairs = in_pairs(catalogue)
    paired = mate is not None
    this = Side.of(speaker, catalogue, frequency_hz, found, reference, policy, paired=paired)
    sides = [this]
    if mate is not None:
        other = Side.of(mate, catalogue, frequency_hz, None, reference, policy, paired=paired)
        if not same_circuit(this.design, other.design):
            raise OptionError(
                f"'{reference}' is not the same circuit in {named('mate')}: no one shape serves both",
                "refresh each by itself",
            )
        # In one order, whoever is asked for: both folders get the same answer.
        sides = sorted([this, other], key=lambda side: (side.speaker.title, str(side.speaker.file.path)))
    here = sides.index(this)
    progress(0.1, "searching")
    steps, chosen = _frontier(sides, here, catalogue, tolerance_db)
    at = pick_of(steps, few_parts(sides), tolerance_db)
    progress(0.9, "comparing")
    plain_swap = this.places.plain_swap()
    note = steps[at].network.notes
    plain_network = _titled(_rebuilt(this.design, plain_swap), f"{speaker.title}: plain swap", *note)
    study = RefreshStudy(
        title=speaker.title,
        found=this.found,
        reference=reference,
        source=catalogue.source,
        tolerance_db=UNHEARD_DB if tolerance_db is None else tolerance_db,
        asked=tolerance_db is not None,
        band_hz=this.compare.band_hz,
        thin=this.compare.thin,
        frequency_hz=frequency_hz,
        frontier=steps,
        pick=at,
        refreshed=this.compare.difference(steps[at].network),
        naive=this.compare.difference(plain_network),
        before=this.before,
        naive_network=plain_network,
        naive_bill=make_bill(_bought(plain_swap, this.design)),
        mate=None if mate is None else sides[1 - here].mate(chosen[at][1 - here], pairs, *note),
        rewired=this.rewired,
        damping=damping_changes(speaker, this.design, steps[at].network),
        headline="",
        warnings=(),
    )
    told = [w for side in sides for w in (*side.warnings, *side.places.warnings)]
    told += refresh_warnings(study, this.design, this.today)
    return replace(study, headline=headline(study), warnings=tuple(dict.fromkeys(told)))


def pick_of(frontier: Sequence[Step], few: int, tolerance_db: float | None = None) -> int:
    """Index of the step to build.

    Nothing is bought where what is there lies within 0.5 dB of the design, or where new parts do not bring it nearer by
    what a careful measurement repeats to; else the fewest parts, measured and picked,
    that keep within 0.3 dB as built where few parts do that, else within 0.5 dB, else within 0.1 dB of the best that
    can be had. No step counts that by its marked values lies over 0.5 dB off, where another does not. With a tolerance
    it is the fewest parts whose marked values keep it, else the nearest.

    Parameters
    ----------
    few : parts that are not many for what is worn, as `few_parts`.
    """
    nearest = min(range(len(frontier)), key=lambda i: frontier[i].nominal_db)
    if tolerance_db is not None:
        return next((i for i, s in enumerate(frontier) if s.nominal_db <= tolerance_db), nearest)
    if frontier[0].parts == 0 and frontier[0].nominal_db <= UNHEARD_DB:
        return 0
    fair = [i for i, s in enumerate(frontier) if s.nominal_db <= UNHEARD_DB] or list(range(len(frontier)))
    small = [i for i in fair if frontier[i].parts <= few]
    best = min(frontier[i].matched_db for i in fair)
    tries = ((small, BUILT_DB), (fair, UNHEARD_DB), (fair, best + REPEATS_DB))
    pick = next(i for some, limit in tries for i in some if frontier[i].matched_db <= limit)
    # What no new part here can put right is not a reason to buy some.
    idle = frontier[0].parts == 0 and frontier[0].nominal_db - frontier[pick].nominal_db <= REPEATS_DB
    return 0 if idle else pick


def few_parts(sides: Sequence[Side]) -> int:
    """One for each worn place, on either side; of capacitors alone one more, to make up for what film does not lose."""
    gone = (State.WORN, State.GOES)
    worn = [p for p in sides[0].design.parts if any(s.places.states[p.name] in gone for s in sides)]
    return max(len(worn), 1 + sum(isinstance(p, Capacitor) for p in worn))


@dataclass(frozen=True, eq=False)
class Side:
    """One speaker: its design, its board of today, and what may be tried at each place."""

    speaker: Speaker
    found: str | None
    reference: str
    design: Network
    today: Network | None
    places: Places
    compare: Comparison
    job: Job[Choice]
    """Without options."""
    warnings: tuple[str, ...]

    @classmethod
    def of(
        cls,
        speaker: Speaker,
        catalogue: Catalogue,
        frequency_hz: Float,
        found: str | None,
        reference: str,
        policy: Policy,
        *,
        paired: bool = False,
    ) -> Side:
        """Read one speaker; `paired`: with its mate, in the names that both have. Raises OptionError."""
        if reference not in speaker.network_names:
            raise OptionError(
                f"there is no network '{reference}' to be the reference",
                f"name one with {named('reference')}: {', '.join(speaker.network_names) or 'none yet'}",
            )
        design = speaker.network(reference)
        if found is None and "found" in speaker.network_names and reference != "found":
            found = "found"
        today = speaker.network(found) if found is not None else None
        if today is not None and not paired:
            design = named_like(design, today)
        grid = log_grid(*CHANGES_HZ, _SEARCH_PER_OCTAVE)
        ohm = speaker.impedances_ohm(design, grid)
        solution = solve(design, grid, ohm)
        if not np.isfinite(np.stack(list(solution.drive.values()))).any():
            raise OptionError(
                "no driver's impedance is known from 200 Hz to 20 kHz", "measure it, or give its datasheet values"
            )
        if len(undriven(solution)) == len(solution.drive):
            raise OptionError(
                f"no voltage reaches a driver in '{reference}'", "'xover check' says where the circuit ends"
            )
        needed = needed_ratings(speaker, solve(design, frequency_hz, speaker.impedances_ohm(design, frequency_hz)))
        unrated = "no rated power of the amplifier is known: volts and watts of the parts were not checked"
        old = {p.name: same_part(today, p) if today is not None else p for p in design.parts}
        places = Places(catalogue, policy, design, solution, ohm, old, needed, today is not None)
        # Where a drive lies far below its highest its neighbour covers it: there no change counts.
        levels = {key: np.where(near_highest(drive), level_db(drive), np.nan) for key, drive in solution.drive.items()}
        job: Job[Choice] = Job(design, grid, ohm, levels, {})
        compare = Comparison(speaker, design, frequency_hz)
        said: tuple[str, ...] = () if needed else (unrated,)
        if today is not None and found is not None:
            there = solve(today, grid, speaker.impedances_ohm(today, grid)).drive
            said += tuple(n.told(reference, found) for n in not_compared(design, solution.drive, today, there))
        return cls(speaker, found, reference, design, today, places, compare, job, said)

    @property
    def refreshed_title(self) -> str:
        """Of its new netlist."""
        return f"{self.speaker.title}: refreshed to '{self.reference}'"

    @property
    def before(self) -> Difference | None:
        """What is there today."""
        return self.compare.difference(self.today) if self.today is not None else None

    def exchanged(self, chosen: Mapping[str, Choice]) -> tuple[Exchanged, ...]:
        """What is done at each place."""
        return tuple(_exchanged(self.places, p, chosen[p.name]) for p in self.design.parts)

    @property
    def rewired(self) -> bool:
        """Whether today's board is another circuit: its parts in the reference's give other drives, or other signs."""
        if self.today is None:
            return False
        f = self.job.frequency_hz
        old = _rebuilt(self.design, {p.name: self.places.kept(p) for p in self.design.parts})
        meant, there = (solve(n, f, self.speaker.impedances_ohm(n, f)).drive for n in (old, self.today))
        if not_compared(old, meant, self.today, there):
            return True
        there = drives_like(old, meant, self.today, there)
        with np.errstate(invalid="ignore"):  # what is not known says nothing
            ratios = [(there[key] / drive)[near_highest(drive)] for key, drive in meant.items()]
        return any(bool(np.any(np.abs(ratio - 1.0) > SAME_DRIVE)) for ratio in ratios)

    def mate(self, chosen: Mapping[str, Choice], pairs: Pairs, note: str) -> Mate:
        """This speaker as the other of a pair."""
        network = _titled(_rebuilt(self.design, chosen), self.refreshed_title, note)
        return Mate(
            self.speaker.title,
            self.found,
            self.compare.difference(network),
            self.before,
            network,
            self.exchanged(chosen),
            tuple((name, pairs[item]) for name, item in _bought(chosen, self.design) if item in pairs),
        )


def same_circuit(one: Network, other: Network) -> bool:
    """Whether two designs have the same parts, values and drivers between the same nodes."""

    def cards(network: Network) -> list[tuple[object, ...]]:
        parts = [(type(p), p.name.lower(), p.a, p.b, value_of(p)) for p in network.parts]
        coupled = [(c.first.lower(), c.second.lower(), c.k) for c in network.couplings]
        return [*parts, *coupled, *((d.name.lower(), d.a, d.b) for d in network.drivers)]

    return cards(one) == cards(other)


_Chosen = tuple[Mapping[str, Choice], ...]
_GRAVER: Final = tuple(State)


def _options(sides: Sequence[Side], ageing_too: bool) -> list[dict[str, list[Choice]]]:
    """What may stand at each place, the same list for every side but for the old part itself."""
    this = sides[0]
    out: list[dict[str, list[Choice]]] = [{} for _ in sides]
    for part in this.design.parts:
        state = max((s.places.states[part.name] for s in sides), key=_GRAVER.index)
        if ageing_too and state is State.AGEING:
            state = State.WORN
        tried = this.places.of(part, state)
        for side, options in zip(sides, out, strict=True):
            options[part.name] = [side.places.kept(part) if c.keeps and side is not this else c for c in tried]
    return out


def _frontier(
    sides: Sequence[Side], here: int, catalogue: Catalogue, tolerance_db: float | None
) -> tuple[tuple[Step, ...], list[_Chosen]]:
    """The steps as of one side, and what each chooses on all; what measures well is touched only where it has to be."""
    wanted_db = UNHEARD_DB if tolerance_db is None else tolerance_db
    ageing = any(s is State.AGEING for side in sides for s in side.places.states.values())
    for ageing_too in (False, True) if ageing else (False,):
        steps, chosen = _steps(sides, here, catalogue, _options(sides, ageing_too), tolerance_db)
        if min(s.nominal_db for s in steps) <= wanted_db:
            break
    return steps, chosen


def _steps(
    sides: Sequence[Side],
    here: int,
    catalogue: Catalogue,
    options: Sequence[Mapping[str, Sequence[Choice]]],
    tolerance_db: float | None,
) -> tuple[tuple[Step, ...], list[_Chosen]]:
    fewest = sum(min(c.new_parts for c in some) for some in options[0].values())
    widest = sum(_MOST_EACH for some in options[0].values() if len(some) > 1)
    most = widest if tolerance_db is not None else min(widest, fewest + _MOST_MORE)
    found: dict[int, Found[Choice]] = {}
    for _ in range(_PASSES):
        jobs = [replace(side.job, options=some) for side, some in zip(sides, options, strict=True)]
        gone: set[int] = set()
        for one in frontier(jobs, most):
            short = enough(item for c in one.chosen[0].values() for item in c.items)
            if not short:
                found.setdefault(one.parts, one)
            elif one.parts not in found:
                gone |= {id(s.item) for s in short}
        if not gone:
            break
        options = [{n: _without(o, gone) for n, o in some.items()} for some in options]
    if not found:
        raise OptionError(
            "the list holds too few pieces to build a pair alike", "raise the quantity column, or refresh one speaker"
        )
    steps: list[Step] = []
    chosen: list[_Chosen] = []
    for count in sorted(found):
        step = _step(sides, here, catalogue, found[count])
        if not steps or step.nominal_db < steps[-1].nominal_db - _SAME_DB:
            steps.append(step)
            chosen.append(found[count].chosen)
        if step.nominal_db <= min(REPEATS_DB, tolerance_db or REPEATS_DB):
            break
    return tuple(steps), chosen


def _step(sides: Sequence[Side], here: int, catalogue: Catalogue, found: Found[Choice]) -> Step:
    networks = [_rebuilt(side.design, some) for side, some in zip(sides, found.chosen, strict=True)]
    bought = _bought(found.chosen[here], sides[here].design)
    names = {name for name, _ in bought}
    built = [as_built(side.job, n, names) for side, n in zip(sides, networks, strict=True)]
    nominal = [abs(side.compare.worst(n)[0].change) for side, n in zip(sides, networks, strict=True)]
    return Step(
        found.parts,
        max(nominal),
        max(b.as_bought_db for b in built),
        max(b.matched_db for b in built),
        _titled(networks[here], sides[here].refreshed_title, f"Parts from {catalogue.source}"),
        sides[here].exchanged(found.chosen[here]),
        make_bill(bought),
    )


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


def _exchanged(places: Places, part: Part, choice: Choice) -> Exchanged:
    old, effect = places.old[part.name], places.effects[part.name]
    told, named = place_words(part, choice, effect, places.states[part.name], places.measured)
    return Exchanged(
        part=part.name,
        kind=kind_of(old or part),
        design=shown_value(part),
        old=shown_value(old) if old is not None and places.measured else None,
        fitted=choice.words,
        stays=choice.keeps,
        old_effect_db=effect.db,
        old_effect_at_hz=effect.at_hz,
        old_effect_on=effect.on,
        told=told,
        named=named,
    )
