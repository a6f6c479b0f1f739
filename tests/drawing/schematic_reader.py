"""Reads a schematic as a person would: from the lines of the SVG alone, which ends are joined.

Wires join where their ends meet; where a wire ends on another, passes over it or passes over a terminal, only a dot
joins. All ground symbols are one node.
"""

from __future__ import annotations

import re
from collections import defaultdict
from itertools import combinations
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"
NEAR = 0.02


def _point(x, y):
    return round(float(x), 2), round(float(y), 2)


def _path_points(path):
    numbers = re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", path.get("d"))
    return [_point(x, y) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]


class Reader:
    """What stands in an SVG: wires, dots, grounds, sockets and the ends of symbols' lines."""

    def __init__(self, svg):
        self.root = ElementTree.fromstring(svg)
        self.wires = []
        for group in self.groups("wire"):
            (path,) = group.findall(f"{SVG}path")
            points = _path_points(path)
            assert all(_on(p, (points[0], points[-1])) for p in points)
            self.wires.append((points[0], points[-1]))
        self.dots = {_point(c.get("cx"), c.get("cy")) for g in self.groups("dot") for c in g.findall(f"{SVG}circle")}
        self.grounds = [_path_points(g.find(f"{SVG}path"))[0] for g in self.groups("ground")]
        self.sockets = []
        for group in self.groups("socket"):
            (ring,) = group.findall(f"{SVG}circle")
            self.sockets.append(_point(float(ring.get("cx")) + float(ring.get("r")), ring.get("cy")))
        self.symbols = {}
        for group in self.groups("symbol"):
            name = group.get("data-part")
            assert name not in self.symbols, f"{name} is drawn twice"
            ends = set()
            for path in group.findall(f"{SVG}path"):
                if "a" not in path.get("d"):  # an arc has no end of interest
                    points = _path_points(path)
                    ends |= {points[0], points[-1]}
            self.symbols[name] = ends

    def groups(self, kind):
        return [g for g in self.root.iter(f"{SVG}g") if g.get("class") == kind]

    def nets(self, layout):
        """Sets of (name, which end) that the drawing joins."""
        leads = {}
        for symbol in layout.symbols:
            assert symbol.name in self.symbols, f"{symbol.name} is not drawn"
            for end, terminal in enumerate(symbol.terminals):
                at = _point(*terminal.at)
                assert any(_near(at, p) for p in self.symbols[symbol.name]), f"{symbol.name} is not drawn to {at}"
                leads[symbol.name, end] = at
        assert set(self.symbols) == {s.name for s in layout.symbols}
        for socket in layout.sockets:
            at = _point(*socket.at)
            assert any(_near(at, p) for p in self.sockets), f"socket at {at} is not drawn"
            leads["channel " + socket.channel, socket.sign] = at
        return self.joined(leads)

    def joined(self, leads):
        points = {p for wire in self.wires for p in wire} | set(leads.values()) | set(self.grounds)
        parent = {p: p for p in points | self.dots}

        def find(p):
            while parent[p] != p:
                p = parent[p]
            return p

        for a, b in self.wires:
            parent[find(a)] = find(b)
        for a, b in combinations(self.grounds, 2):
            parent[find(a)] = find(b)
        for wire in self.wires:
            for dot in self.dots:
                if _on(dot, wire):
                    parent[find(dot)] = find(wire[0])
        nets = defaultdict(set)
        for lead, at in leads.items():
            nets[find(at)].add(lead)
        return {frozenset(net) for net in nets.values()}

    def loose_touches(self, leads):
        """Points where a wire's end or a terminal lies on the middle of a wire without a dot: not to be read."""
        points = {p for wire in self.wires for p in wire} | set(leads) | set(self.grounds)
        return [
            p
            for p in points
            for w in self.wires
            if p not in self.dots and _on(p, w) and not any(_near(p, end) for end in w)
        ]


def _near(a, b):
    return abs(a[0] - b[0]) <= NEAR and abs(a[1] - b[1]) <= NEAR


def _on(point, wire):
    (x, y), ((x0, y0), (x1, y1)) = point, wire
    if abs(y0 - y1) <= NEAR:
        return abs(y - y0) <= NEAR and min(x0, x1) - NEAR <= x <= max(x0, x1) + NEAR
    assert abs(x0 - x1) <= NEAR, f"a wire runs aslant: {wire}"
    return abs(x - x0) <= NEAR and min(y0, y1) - NEAR <= y <= max(y0, y1) + NEAR


def nets_of(network):
    """Sets of (name, which end) that the netlist joins."""
    nets = defaultdict(set)
    for element in (*network.parts, *network.drivers):
        nets[element.a].add((element.name, 0))
        nets[element.b].add((element.name, 1))
    for channel in network.channels:
        nets[channel.plus].add(("channel " + channel.name, "+"))
        nets[channel.minus].add(("channel " + channel.name, "-"))
    return {frozenset(net) for net in nets.values()}


def faults(layout):
    """What lies on something else, as sentences; [] for a clean drawing."""
    boxes = [(f"symbol {s.name}", s.box) for s in layout.symbols]
    boxes += [(f"text {t.content!r} of {t.of}", t.box) for t in layout.texts]
    boxes += [("ground", g.box) for g in layout.grounds] + [(f"socket {s.channel}", s.box) for s in layout.sockets]
    found = []
    for (a, one), (b, two) in combinations(boxes, 2):
        wide = min(one.right, two.right) - max(one.left, two.left)
        tall = min(one.bottom, two.bottom) - max(one.top, two.top)
        if wide > NEAR and tall > NEAR:
            found.append(f"{a} lies on {b}")
    for name, box in boxes:
        if box.left < 0 or box.top < 0 or box.right > layout.width_pt or box.bottom > layout.height_pt:
            found.append(f"{name} leaves the page")
        room = 0.6 if name.startswith("text") else -0.3
        for wire in layout.wires:
            left, right = sorted((wire.start.x, wire.end.x))
            top, bottom = sorted((wire.start.y, wire.end.y))
            if (
                right > box.left - room
                and left < box.right + room
                and bottom > box.top - room
                and top < box.bottom + room
            ):
                found.append(f"a wire of {wire.node} runs through {name}")
        if name.startswith("text"):
            for point, radius in [(d.at, 2.1) for d in layout.dots] + [
                (p, 1.7) for m in layout.couplings for p in m.dots
            ]:
                if (
                    box.left - radius < point.x < box.right + radius
                    and box.top - radius < point.y < box.bottom + radius
                ):
                    found.append(f"a dot lies on {name}")
    return found
