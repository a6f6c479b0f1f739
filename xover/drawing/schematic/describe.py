"""The drawing in words, for those who cannot see it."""

from __future__ import annotations

from typing import Final

from xover.drawing.schematic.words import loss_texts, name_of
from xover.network.network import Network
from xover.network.parts import shown_value

MOST_DESCRIBED: Final = 120


def describe(network: Network, reversed_: frozenset[str], notes: tuple[str, ...]) -> str:
    """Every part and driver with its value and its nodes, one sentence each.

    Parameters
    ----------
    reversed_ : names of the driver cards that are reversed.
    notes : what else the drawing says.
    """
    said = []
    for channel in network.channels:
        said.append(
            f"Amplifier {name_of(channel.name)}: plus on {name_of(channel.plus)}, minus on {_node(channel.minus)}"
        )
    for part in network.parts:
        losses = "".join(f", {name} {text}" for name, text in loss_texts(part).items())
        said.append(f"{name_of(part.name)} {shown_value(part)} from {_node(part.a)} to {_node(part.b)}{losses}")
    for card in network.drivers:
        polarity = ", reversed" if card.name in reversed_ else ""
        said.append(
            f"Driver {name_of(card.key)} ({name_of(card.name)}): plus on {_node(card.plus)}, "
            f"minus on {_node(card.minus)}{polarity}"
        )
    for coupling in network.couplings:
        said.append(f"{name_of(coupling.first)} and {name_of(coupling.second)} coupled, k {coupling.k:.4g}")
    more = [] if len(said) <= MOST_DESCRIBED else [f"and {len(said) - MOST_DESCRIBED} more"]
    return ". ".join([*said[:MOST_DESCRIBED], *more, *(note.rstrip(".") for note in notes)]) + "."


def _node(name: str) -> str:
    return "ground" if name == "0" else name_of(name)
