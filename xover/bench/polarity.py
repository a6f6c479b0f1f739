"""How each driver is connected: which terminal on which pad, and whether the netlist has it reversed."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from xover.bench.pads import RAIL, PadNames
from xover.network import DriverCard, Network


@dataclass(frozen=True)
class DriverPolarity:
    """How one driver is connected.

    Attributes
    ----------
    card, key, driver : as in the netlist. plus_pad, minus_pad : where its terminals go.
    is_reversed : True where its plus stands on the side of the minus rail; None where the wiring does not tell.
    sentence : the same in words.
    """

    card: str
    key: str
    driver: str
    plus_pad: str
    minus_pad: str
    is_reversed: bool | None
    sentence: str


def driver_polarities(network: Network, names: PadNames) -> tuple[DriverPolarity, ...]:
    """All driver cards in their order."""
    return tuple(_polarity(network, names, card) for card in network.drivers)


def is_reversed(network: Network, card: DriverCard) -> bool | None:
    """Whether a driver's plus lies nearer to the amplifier's minus than its minus does.

    Nearer by the number of parts on the way, other than the driver itself, to the amplifier's plus against that to
    its minus. None where both terminals lie alike.
    """
    hot = frozenset(c.plus for c in network.channels)
    cold = frozenset(c.minus for c in network.channels)
    plus, minus = (_steps(network, card, node, hot) - _steps(network, card, node, cold) for node in card_nodes(card))
    if plus == minus or math.isnan(plus) or math.isnan(minus):
        return None
    return plus > minus


def card_nodes(card: DriverCard) -> tuple[str, str]:
    """Its plus and its minus."""
    return card.plus, card.minus


def _steps(network: Network, card: DriverCard, start: str, wanted: frozenset[str]) -> float:
    """Parts on the shortest way to a terminal of the amplifier; infinite where none leads there past another one."""
    terminals = {n for c in network.channels for n in (c.plus, c.minus)}
    seen, queue = {start: 0}, deque([start])
    while queue:
        node = queue.popleft()
        if node in wanted:
            return seen[node]
        if node in terminals:
            continue  # the amplifier ends the way
        for element in (*network.parts, *(d for d in network.drivers if d is not card)):
            for here, there in ((element.a, element.b), (element.b, element.a)):
                if here == node and there not in seen:
                    seen[there] = seen[node] + 1
                    queue.append(there)
    return math.inf


def _polarity(network: Network, names: PadNames, card: DriverCard) -> DriverPolarity:
    turned = is_reversed(network, card)
    plus, minus = (names.words(node, card.name) for node in card_nodes(card))
    text = f"{card.key}: plus to {plus}, minus to {minus}"
    if turned:
        why = "" if names.of(card.plus, card.name).startswith(RAIL) else " (its plus lies nearer to the minus rail)"
        text += f": reversed on purpose, as the netlist says{why}"
    elif turned is None:
        text += "; the wiring alone does not tell whether that is reversed"
    return DriverPolarity(
        card=card.name,
        key=card.key,
        driver=card.driver,
        plus_pad=names.of(card.plus, card.name),
        minus_pad=names.of(card.minus, card.name),
        is_reversed=turned,
        sentence=text,
    )
