"""Where do I mount the coils? What coupling between them does, and how much of it each pair may have."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.rules.audibility import REPEATS_DB
from xover.studies.options import EVERYTHING, Frequencies24, Network, frequencies
from xover.units import DB, SHARE, by_name

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.bears.crosstalk.study import Crosstalk


@question(plots={"Crosstalk": "bears.draw_crosstalk"}, shows=EVERYTHING)
def crosstalk(
    speaker: "Speaker",
    network: Network = None,
    *,
    couples: Annotated[
        Mapping[str, float] | Mapping[tuple[str, str], float] | None,
        Ask(
            "Two coils and their coupling; both signs are tried. Repeat.",
            by_name(SHARE, "L1:L2", "L1:L2=K"),
            "--couple",
            many=True,
        ),
    ] = None,
    limit_db: Annotated[float, Ask("Change of the sum that coupling may make, dB.", DB, above=0, high=60)] = REPEATS_DB,
    frequency_hz: Frequencies24 = None,
) -> "Crosstalk":
    """Where do I mount the coils? What coupling does.

    Without --couple: how much coupling each pair of coils may have. 'xover coil' tells what coupling a distance gives.

    Example: xover crosstalk examples/studio-three-way --couple L3:L4=2%

    >>> speaker.crosstalk("found", couples={("L1", "L2"): 0.02}).cases
    """
    from xover.judge.safety import warned
    from xover.studies.bears.crosstalk.stray import named_couples
    from xover.studies.bears.crosstalk.study import study_crosstalk

    name = speaker.network_or_default(network)
    pairs = named_couples(couples or {})
    answer = study_crosstalk(speaker, name, frequencies(frequency_hz, 24), pairs, limit_db=limit_db)
    return warned(answer, speaker, answer.network)
