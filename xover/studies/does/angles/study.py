"""What is heard off the axis: the sum above, below and to the side, and where its lobe points at each crossover.

Each driver is a flat piston in an infinite baffle, nearer or farther than the others at an angle
(`xover/acoustic/off_axis.py`). The sound on the axis is that of the responses; only what changes from there is
computed. A driver without a diameter is not guessed at: where it may matter, nothing is told off the axis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.acoustic.off_axis import VerticalNulls, move_branch, vertical_nulls
from xover.acoustic.summing import Branch, missing_bound
from xover.curve import Float
from xover.errors import OptionError
from xover.plain import fields_of
from xover.quantity import hertz
from xover.readable import Readable, Warned
from xover.remark import About, Remark
from xover.sound.change import difference_db
from xover.sound.prediction import RESPONSE_DISTANCE_M, Sound, sound_of
from xover.sound.sums import Listener
from xover.speaker import Speaker
from xover.studies.options import HORIZONTAL_DEG, VERTICAL_DEG

MOST_ANGLES: Final = 25
PISTON_NOTE: Final = Remark(
    "each driver is taken as a flat piston in an infinite baffle: cones that break up, horns and the edges of a real "
    "cabinet do otherwise, the more the farther off the axis",
    About.METHOD,
)


@dataclass(frozen=True)
class DriverPlace:
    """What is known of one driver's place and size: the evidence that off-axis sound rests on.

    Attributes
    ----------
    position_mm : right, up, forward of the axis' foot; None: not given.
    diameter_mm : effective piston diameter; None: not given.
    """

    key: str
    position_mm: tuple[float, float, float] | None
    diameter_mm: float | None

    @property
    def sentence(self) -> str:
        """Both in words."""
        size = "size not given" if self.diameter_mm is None else f"piston of {self.diameter_mm:g} mm"
        if self.position_mm is None:
            return f"{size}, place not given"
        right, up, forward = self.position_mm
        return f"{size} at {right:+g} right, {up:+g} up, {forward:+g} forward, mm"


@dataclass(frozen=True, eq=False, repr=False)
class AngleLevels(Readable):
    """The sum at some angles in one plane.

    Attributes
    ----------
    angle_deg : (a,) rising; positive is up, or to the right.
    level_db : (a, n) dB re 20 uPa at the level that 1 m would give; NaN where it cannot be told.
    relative_db : (a, n) the same less the level on the axis of the same arc.
    """

    angle_deg: Float
    level_db: Float
    relative_db: Float


@dataclass(frozen=True, eq=False, repr=False)
class OffAxisStudy(Warned):
    """Answer of `study_off_axis`.

    Attributes
    ----------
    frequency_hz : (n,).
    distance_m : radius of the arc on which the microphone stands, round the foot of the design axis.
    of_sum : "sum", or "highest sum that any timing allows" where the drivers share no time reference.
    axis_db : (n,) on the axis, on that arc.
    vertical, horizontal : the sums.
    lobes : first minima above and below, and where the lobe between them points, at each crossover; empty where the
        timing or a place is not known.
    drivers : places and sizes.
    unknown : what cannot be told, and what would tell it.
    warnings : what a reader must know.
    """

    title: str
    network: str
    frequency_hz: Float
    distance_m: float
    of_sum: str
    timing_reason: str
    axis_db: Float
    vertical: AngleLevels
    horizontal: AngleLevels
    lobes: tuple[VerticalNulls, ...]
    drivers: tuple[DriverPlace, ...]
    unknown: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def known(self) -> bool:
        """Whether anything is told off the axis."""
        return any(
            bool(np.isfinite(plane.level_db[plane.angle_deg != 0.0]).any())
            for plane in (self.vertical, self.horizontal)
        )

    def plain(self) -> dict[str, Any]:
        """All of it, drivers and lobes as lists."""
        own = fields_of(self, unsafe=None)
        return own | {"model": PISTON_NOTE}


def study_off_axis(
    speaker: Speaker,
    network: str,
    frequency_hz: Float,
    *,
    vertical_deg: Sequence[float] = VERTICAL_DEG,
    horizontal_deg: Sequence[float] = HORIZONTAL_DEG,
    distance_m: float | None = None,
) -> OffAxisStudy:
    """Predict the sound off the axis of one network.

    Parameters
    ----------
    network : its name in the speaker folder.
    frequency_hz : (n,) rising.
    vertical_deg, horizontal_deg : each plane by itself, from -90 to 90, the ends excluded.
    distance_m : to the microphone; by default the listening distance of speaker.toml, else 1 m.

    Raises OptionError: an angle or the distance makes no sense. InputError, NoSolutionError: as for `predict`.
    """
    vertical, horizontal = _angles(vertical_deg, "vertical"), _angles(horizontal_deg, "horizontal")
    listening = speaker.listening
    if distance_m is None:
        distance_m = listening.distance_m if listening is not None and listening.distance_m else RESPONSE_DISTANCE_M
    if not (math.isfinite(distance_m) and distance_m > 0):
        raise OptionError(f"a distance of {distance_m:g} m makes no sense", "give metres above 0, such as 2.5")
    sound = sound_of(speaker, network, frequency_hz)
    drivers = tuple(DriverPlace(b.key, b.position_mm, b.diameter_mm) for b in sound.branches)
    field = _Field(frequency_hz, sound, distance_m)
    axis = field.level_db(0.0, 0.0)
    return OffAxisStudy(
        title=speaker.title,
        network=network,
        frequency_hz=frequency_hz,
        distance_m=distance_m,
        of_sum="sum" if sound.total.coherent else "highest sum that any timing allows",
        timing_reason=sound.timing_reason,
        axis_db=axis,
        vertical=_plane(vertical, [field.level_db(float(a), 0.0) for a in vertical], axis),
        horizontal=_plane(horizontal, [field.level_db(0.0, float(a)) for a in horizontal], axis),
        lobes=_lobes(frequency_hz, sound, distance_m),
        drivers=drivers,
        unknown=_unknown(sound, drivers),
        warnings=_warnings(frequency_hz, sound, drivers, distance_m),
    )


def _angles(given: Sequence[float], plane: str) -> Float:
    """(a,) rising, each once."""
    for angle in given:
        if not abs(angle) < 90.0:
            raise OptionError(f"a {plane} angle of {angle:g} degrees is behind the baffle", "stay within 90 degrees")
    angles = np.unique(np.asarray(given, dtype=float) + 0.0)
    if not 1 <= angles.size <= MOST_ANGLES:
        raise OptionError(f"{angles.size} {plane} angles", f"give 1 to {MOST_ANGLES}")
    return angles


def _plane(angle_deg: Float, levels_db: Sequence[Float], axis_db: Float) -> AngleLevels:
    level = np.stack(levels_db)
    return AngleLevels(angle_deg, level, difference_db(axis_db, level))


class _Field:
    """The sum in all directions."""

    def __init__(self, frequency_hz: Float, sound: Sound, distance_m: float) -> None:
        self._frequency_hz, self._sound, self._distance_m = frequency_hz, sound, distance_m
        self._placed = all(b.position_mm is not None for b in sound.branches)
        self._one = {b.key: np.ones((1, frequency_hz.size), dtype=complex) for b in sound.branches}

    def level_db(self, vertical_deg: float, horizontal_deg: float) -> Float:
        """(n,) level at an angle; NaN where a driver that cannot be told may matter, everywhere without the places."""
        if not self._placed:
            return np.full(self._frequency_hz.shape, np.nan)
        moved = [self._moved(b, vertical_deg, horizontal_deg) for b in self._sound.branches]
        listener = Listener(
            tuple(b for b, _ in moved), np.stack([bound for _, bound in moved]), self._sound.total.coherent
        )
        return np.asarray(listener.levels_db(self._one)[0])

    def _moved(self, branch: Branch, vertical_deg: float, horizontal_deg: float) -> tuple[Branch, Float]:
        """A branch at an angle, and a bound of what it is where that is not known.

        Off the axis a driver without a diameter is not known. The bound is its sound on the axis, which no piston
        exceeds: the level beside a gap, at the angle itself, could be that of a null.
        """
        f = self._frequency_hz
        moved = move_branch(f, branch, vertical_deg, self._distance_m, RESPONSE_DISTANCE_M, horizontal_deg)
        on_axis = np.isfinite(branch.pressure)
        bound = np.where(on_axis, np.abs(np.where(on_axis, branch.pressure, 0.0)), missing_bound(f, branch))
        if branch.diameter_mm is None and (vertical_deg or horizontal_deg):
            moved = replace(moved, pressure=np.full(f.shape, complex(np.nan, np.nan)))
        return moved, bound


def _lobes(frequency_hz: Float, sound: Sound, distance_m: float) -> tuple[VerticalNulls, ...]:
    """Where the lobe points at each crossover; empty where that cannot be told."""
    if not sound.total.coherent or any(b.position_mm is None for b in sound.branches):
        return ()
    crossovers = read_crossovers(frequency_hz, sound.branches, sound.total.coherent)
    at = [c.frequency_hz for c in crossovers if c.frequency_hz is not None]
    return vertical_nulls(frequency_hz, sound.branches, at, distance_m, RESPONSE_DISTANCE_M)


def _unknown(sound: Sound, drivers: Sequence[DriverPlace]) -> tuple[str, ...]:
    said = []
    lost = [d.key for d in drivers if d.position_mm is None]
    if lost:
        said.append(
            f"anything off the axis: no position_mm for {', '.join(lost)}; give [right, up, forward] of the design "
            "axis in speaker.toml"
        )
    elif not sound.total.coherent:
        said.append(
            f"where the lobe points and where the sum cancels: {sound.timing_reason}; shown is the highest sum that "
            "any timing allows, which tells the narrowing of the drivers alone"
        )
    sizeless = [d.key for d in drivers if d.diameter_mm is None]
    if sizeless and not lost:
        said.append(
            f"how {' and '.join(sizeless)} narrow{'s' if len(sizeless) == 1 else ''}: no diameter_mm, so that no sum "
            "is given off the axis where it may matter; lobes and minima are those of points, from the paths alone"
        )
    return tuple(said)


def _warnings(frequency_hz: Float, sound: Sound, drivers: Sequence[DriverPlace], distance_m: float) -> tuple[str, ...]:
    said: list[str] = [PISTON_NOTE]
    places = [d.position_mm for d in drivers if d.position_mm is not None]
    if len(places) == len(drivers):
        if len({right for right, _, _ in places}) > 1:
            said.append("the drivers stand beside each other: left and right differ, ask for negative angles too")
        if distance_m != RESPONSE_DISTANCE_M:
            words = (
                f"the responses were taken at {RESPONSE_DISTANCE_M:g} m: on the axis of an arc of {distance_m:g} m the "
                "paths differ less, and the sum is that of the places, not the one measured"
            )
            said.append(Remark(words, About.METHOD))
        for b in sound.branches:
            dark = ~np.isfinite(move_branch(frequency_hz, b, 0.0, distance_m, RESPONSE_DISTANCE_M).pressure)
            lost = frequency_hz[dark & np.isfinite(b.pressure)]
            if lost.size:
                words = (
                    f"{b.key} from {hertz(float(lost[0]))}: seen from 1 m it is near the first null of a piston "
                    "already on the axis, so its part off the axis is not known: left out where 30 dB or more below"
                )
                said.append(Remark(words, About.FAINT))
    said += [gap.note for gap in sound.total.gaps]
    return tuple(dict.fromkeys(said))
