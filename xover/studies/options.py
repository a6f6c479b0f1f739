"""Options that several questions share: the same name means the same thing everywhere. Nothing here loads numpy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from xover.declare import Ask, Grid
from xover.errors import OptionError
from xover.units import COUNT, FILE, MONEY, NETWORK, OHM, SHARE, TEXT, YES, one_of

if TYPE_CHECKING:
    from xover.curve import Float
    from xover.parts.catalogue import Catalogue
    from xover.speaker import Speaker

VERTICAL_DEG: Final = (-30.0, -15.0, -10.0, 0.0, 10.0, 15.0, 30.0)
HORIZONTAL_DEG: Final = (0.0, 15.0, 30.0, 45.0, 60.0)
"""Angles off the axis that are told where no others are asked for."""
EVERYTHING: Final = {"everything": (Ask("Tell all: every table and note.", YES, "--all"), False)}
"""What a question shows besides its answer where it is asked to."""
Progress = Callable[[float, str], None]
"""Is told the share done, 0 to 1, and what is going on in a few words."""
Network = Annotated[str | None, Ask("Named network of the folder [default: found].", NETWORK, "--network", "-n")]
Stock = Annotated[str | Path | None, Ask("Price list or parts bin (CSV), the only source then.", FILE, "--stock")]
Spectrum = Annotated[
    Literal["programme", "pink"],
    Ask("Noise that stands for music: programme or pink.", one_of("programme", "pink", metavar="NAME")),
]
Seed = Annotated[int, Ask("The same seed gives the same answer.", COUNT, "--seed", low=0)]
Jobs = Annotated[int, Ask("Processes to spread the work over; -1: all cores.", COUNT, "--jobs", low=-1, high=256)]
MostCost = Annotated[
    float | None, Ask("What one speaker's parts may cost, in money of the list.", MONEY, "--most-cost", low=0)
]
OutputOhm = Annotated[
    float | None, Ask("Amplifier's output resistance, such as 1.6 (valves).", OHM, "--output-ohm", low=0, high=1e4)
]
Channel = Annotated[str | None, Ask("Amplifier channel, where the network has several.", TEXT, "--channel")]
Noise = Annotated[
    float | None,
    Ask("Noise of one row of the sweep, such as 0.5% [default: estimated].", SHARE, "--noise", low=1e-5, high=0.3),
]
Frequencies = Annotated[Any, Grid()]
"""(n,) rising, Hz; None: 20 Hz to 20 kHz, 48 in an octave."""
Frequencies24 = Annotated[Any, Grid(per_octave=24)]


def quiet(done: float, words: str) -> None:
    """Progress that nobody looks at."""


def frequencies(frequency_hz: Any = None, per_octave: int = 48) -> Float:
    """(n,) the frequencies given, or 20 Hz to 20 kHz on equal steps of an octave. Raises OptionError."""
    from xover.studies.given import rising_frequencies

    return rising_frequencies(frequency_hz, per_octave)


def chosen(speaker: Speaker, network: str | None) -> str:
    """The network that was asked for, or the folder's own default. Raises OptionError, InputError."""
    if network is not None and not isinstance(network, str):
        raise OptionError("a network is meant by its name", "write it as text, such as 'found'")
    return network if network is not None else speaker.default_network()


def catalogue(stock: str | Path | None, electrolytics: bool = False) -> Catalogue:
    """What may be bought: a list (.csv) alone, or preferred values and coils to wind. Raises InputError."""
    from xover.parts.catalogue import Catalogue
    from xover.parts.stock import open_stock

    return Catalogue(open_stock(Path(stock)) if stock is not None else None, electrolytics=electrolytics)


def several(names: Sequence[str] | None) -> tuple[str, ...]:
    """What may be given many times, or not at all."""
    return tuple(names or ())
