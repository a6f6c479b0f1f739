"""A driver's impedance from what an impedance jig measured: how sure is it?"""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, Unit, question
from xover.units import FILE, OHM, by_name, one_of

if TYPE_CHECKING:
    from xover.studies.desk.jig.study import JigStudy


@question(
    output="table",
    plots={"JigStudy": "recorded.draw_distortion"},
    plot_needs="played",
    curve="impedance",
    then="infer {folder} --impedance {file}",
    written="Impedance written to {path}: name it as impedance = of a driver in speaker.toml.",
    told_in="study",
)
def jig(
    ratio: Annotated[
        str | Path,
        Ask(
            "A recording of both channels, or a table: second over first, dB, degrees.",
            Unit("WAV|TABLE", Path),
            place=True,
        ),
    ],
    reference_ohm: Annotated[
        float, Ask("The resistor, as a meter reads it, such as 10.", OHM, "--resistor", low=0.01, high=1e5)
    ],
    *,
    across: Annotated[
        Literal["driver", "resistor"],
        Ask("What the second channel is across: driver or resistor.", one_of("driver", "resistor")),
    ] = "driver",
    leads_ohm: Annotated[float, Ask("Resistance of the leads, taken off.", OHM, low=0, high=100)] = 0.0,
    both: Annotated[str | Path | None, Ask("The same with both channels on one point.", FILE)] = None,
    known: Annotated[
        tuple[str | Path, float] | None,
        Ask(
            "The same with a known resistor in the driver's place, such as ten.wav=10.",
            by_name(replace(OHM, least=0.01, most=1e5), "TABLE"),
        ),
    ] = None,
    open_file: Annotated[str | Path | None, Ask("The same with nothing in the driver's place.", FILE, "--open")] = None,
    short_file: Annotated[
        str | Path | None, Ask("The same with a short in the driver's place.", FILE, "--short")
    ] = None,
    again: Annotated[tuple[str | Path, ...], Ask("The same once more; takes are averaged.", FILE, many=True)] = (),
    played: Annotated[
        str | Path | tuple[str | Path, ...],
        Ask("The file that was played, as 'xover sweep' wrote it; again for other recordings.", FILE, many=True),
    ] = (),
) -> "JigStudy":
    """An impedance from a resistor and two sound card channels.

    The first channel measures across resistor and driver together, the second across one of them. Start at low level:
    a sweep is loud where you do not expect it, and a tweeter wants little. With --open, --short and --known together
    leads, crosstalk and unlike inputs fall out too. --into puts the table into a speaker folder: that of a --driver is
    named in speaker.toml, with what it was measured by; one of the whole speaker is for 'xover infer'.

    Example: xover jig woofer.wav --played sweep.wav --resistor 10 --into my-speaker --driver woofer

    >>> Path("woofer.csv").write_text(xover.jig("ratio.csv", 10.0).table)
    """
    from xover.driver.jig import Across
    from xover.studies.desk.jig.study import study_jig

    return study_jig(
        ratio,
        reference_ohm,
        across=Across(across),
        leads_ohm=leads_ohm,
        both_file=both,
        known=known,
        open_file=open_file,
        short_file=short_file,
        again=again,
        played=played if isinstance(played, tuple) else (played,),
    )
