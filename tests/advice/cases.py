"""Cases whose right answer is plain to anybody in the trade, and that answer. All speakers are invented.

A case is a folder that `make` writes, the options that decide gets with it, the rungs that a restorer would sign (one,
wherever the trade would not argue), why, and what else must be true of the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from builder import Folder
from demands import (
    BUILDS,
    Case,
    Demand,
    blames,
    blames_nobody,
    buys,
    gains,
    names,
    never_tells,
    spoils_no_more_than,
    tells,
    three_things,
    within,
    without,
)
from speakers import (
    AGED_2,
    CHANNELS,
    DOUBLE_DRY,
    HALVED,
    HORN,
    LOUD,
    LOW_CORNER,
    LOW_LOAD,
    OLD_STOCK,
    POOR,
    POOR_AGED,
    QUIET,
    SHELF,
    THREE,
    TURNED,
    TURNED_HORN,
    TWINS,
    TWO_AMPLIFIERS,
    from_datasheets,
    one_driver_edited,
    started,
    template_as_original,
    with_mate,
)


def _cases() -> Iterator[Case]:
    def case(
        name: str, folder: Folder | Callable[[Path], Path], rungs: str, why: str, *demands: Demand, **more: Any
    ) -> Case:
        make = folder.write if isinstance(folder, Folder) else folder
        return Case(name, make, tuple(rungs.split("|")), why, demands, **more)

    # Nothing to do.
    yield case(
        "as new, a fine design",
        SHELF,
        "leave",
        "nothing is worn and nothing is wrong",
        blames_nobody,
        within(0),
        tells(r"nothing|leave"),
        without("rewire", "trim", "refresh"),
    )
    yield case(
        "all 2 % off",
        SHELF.found(
            L1="in w 0.694mH dcr=0.306 core=air",
            C1="w 0 9.8uF df=0.03@1kHz kind=electrolytic volts=100",
            C2="in t 4.79uF df=0.03@1kHz kind=electrolytic volts=100",
            L2="t 0 0.265mH dcr=0.294 core=air",
            R1="t p 2.75 watts=10",
            R2="p 0 32.3 watts=10",
        ),
        "leave",
        "parts were never nearer than that when new",
        blames_nobody,
        within(0),
        without("refresh"),
    )
    yield case(
        "20 % more series resistance",
        SHELF.found(C2="in t 4.7uF loss=1.22@1kHz,0.14@10kHz kind=electrolytic volts=100"),
        "leave",
        "0.2 ohm beside 8 ohm: 0.2 dB that nobody hears",
        blames_nobody,
        without("refresh"),
    )
    yield case("horn, as new", HORN, "leave", "flat within 1 dB, padded as it should be", blames_nobody)
    yield case("three-way, as new", THREE, "leave", "flat within 1 dB, in phase at both crossovers", blames_nobody)
    yield case("parallel woofers, as new", TWINS, "leave", "two woofers on one section are one way", blames_nobody)

    # Worn parts.
    yield case(
        "one dry electrolytic",
        SHELF.found(C2=AGED_2),
        "refresh",
        "the tweeter's capacitor lost 30 %: it is replaced",
        buys(1, 2),
        names("C2"),
        gains(0.8),
    )
    yield case(
        "two dry electrolytics",
        DOUBLE_DRY,
        "refresh",
        "both are replaced, one resistor at most beside them; coils stay",
        buys(2, 3),
        names("C2"),
        gains(0.8),
    )
    yield case(
        "halved series capacitor",
        HALVED,
        "refresh|mend",
        "2.35 for 4.7 uF, no loss: worn, or a wrong part that somebody fitted; either way C2 is replaced",
        names("C2"),
        buys(1, 2),
        gains(2.0),
    )
    yield case(
        "burnt pad",
        SHELF.found(R1="t p 4.3 watts=10"),
        "refresh",
        "a resistor that rose by 60 % was cooked; it is replaced by its marked value, for pennies",
        names("R1"),
        buys(1, 1),
    )
    yield case(
        "burnt pad, open",
        SHELF.found(R1=None),
        "mend",
        "an open resistor in series: the tweeter is silent",
        blames("R1"),
    )
    yield case(
        "three-way, one dry electrolytic",
        THREE.found(C2="in m1 12uF loss=2.4@1kHz,1.9@10kHz kind=electrolytic volts=100"),
        "refresh",
        "the mid's series capacitor lost a third",
        buys(1, 2),
        names("C2"),
        options=("--skip", "revalue,redesign"),  # neither is what the case is about, and a three-way takes long
    )
    yield case(
        "horn, an oil capacitor drifted",
        HORN.marked(C2="in t 4.7uF df=0.005@1kHz kind=oil volts=400 tol=10%").found(
            C2="in t 7.2uF loss=1.1@1kHz,0.6@10kHz kind=oil volts=400"
        ),
        "refresh",
        "half again its value and leaky; oil of that age may hold PCBs, said once",
        names("C2"),
        tells(r"\bPCBs?\b", 1),
    )
    yield case(
        "capacitor over its voltage",
        replace(
            SHELF.marked(C2="in t 4.7uF df=0.03@1kHz kind=electrolytic volts=25 tol=10%"),
            amplifier={"minimum_load_ohm": 4, "output_ohm": 0.05, "rated_power_w": 100, "rated_load_ohm": 8},
        ),
        "refresh|mend|leave",
        "25 V behind 40 V of peaks: one of more volts goes in; at the level played it may stay, and then it is said",
        tells("C2"),
        for_safety=True,
    )

    # Faults.
    yield case(
        "reversed tweeter",
        TURNED,
        "mend",
        "a former owner swapped its wires: swap them back, for nothing",
        blames("tweeter"),
        within(0),
        tells(r"polarity|revers|swap|wires"),
    )
    yield case(
        "reversed tweeter and a dry capacitor",
        TURNED.found(C2=AGED_2),
        "mend",
        "the wires first, it costs nothing; then the capacitor",
        blames("tweeter"),
        tells("C2"),
    )
    yield case(
        "dead tweeter, open",
        SHELF.driver("tweeter", dead="open", response_hz=(200, 40_000)),
        "mend",
        "an open voice coil: no network mends it",
        blames("tweeter"),
        without("refresh", "trim", "revalue", "redesign", "bypass"),
    )
    yield case(
        "dead tweeter, shorted",
        SHELF.driver("tweeter", dead="shorted"),
        "mend",
        "0.1 ohm where 5 should be",
        blames("tweeter"),
        without("refresh", "trim", "revalue", "redesign", "bypass"),
    )
    yield case(
        "shorted capacitor",
        SHELF.found(C2=None, RC2="in t 0.05"),
        "mend",
        "nothing keeps the bass off the tweeter: C2 first, before it plays",
        blames("C2"),
    )
    yield case(
        "open capacitor",
        SHELF.found(C2="in t 20nF kind=electrolytic volts=100"),
        "mend|refresh",
        "20 nF is an open capacitor: the tweeter is silent, a new C2 mends it",
        blames("C2"),
    )
    yield case(
        "capacitor missing",
        SHELF.found(C2=None),
        "mend",
        "somebody took C2 out and left the gap",
        blames("C2"),
    )
    yield case("coil missing", SHELF.found(L2=None), "mend", "the tweeter's coil is gone: put one in", blames("L2"))

    drawn_anew = {
        "La": "n1 in 0.68mH dcr=0.3 core=air tol=5%",
        "Ca": "n1 0 10uF df=0.03@1kHz kind=electrolytic volts=100 tol=10%",
        "Xbass": "n1 0 woofer",
        "Cb": "n2 in 3.3uF loss=3.2@1kHz,1.8@10kHz kind=electrolytic volts=100",
        "Lb": "n2 0 0.27mH dcr=0.3 core=air tol=5%",
        "Ra": "n2 n3 2.7 watts=10 tol=5%",
        "Rb": "0 n3 33 watts=10 tol=5%",
        "Xtreble": "n3 0 tweeter",
    }
    yield case(
        "drawn anew, one dry electrolytic",
        replace(SHELF, changes={**dict.fromkeys(SHELF.original), **drawn_anew}),
        "refresh",
        "the same circuit under other names: one capacitor is dry, five parts are as marked",
        names("Cb"),
        buys(1, 2),
        blames_nobody,
    )
    yield case(
        "drawn anew, an open capacitor",
        replace(
            SHELF,
            changes={**dict.fromkeys(SHELF.original), **drawn_anew, "Cb": "n2 in 20nF volts=100"},
        ),
        "mend",
        "20 nF is an open capacitor, whatever it is called",
        blames("Cb"),
        buys(1, 1),
    )
    yield case(
        "all 30 % low",
        SHELF.found(
            L1="in w 0.476mH dcr=0.21 core=air",
            C1="w 0 7uF df=0.03@1kHz kind=electrolytic volts=100",
            C2="in t 3.3uF df=0.03@1kHz kind=electrolytic volts=100",
            L2="t 0 0.189mH dcr=0.21 core=air",
            R1="t p 1.9 watts=10",
            R2="p 0 23 watts=10",
        ),
        "none yet",
        "coils and resistors do not dry: the meter is tried on a part that is known",
        tells("all parts read about 30 % low"),
        tells("a part that you know"),
        without("rewire", "trim"),
    )
    yield case(
        "lamp taken out",
        SHELF.marked(R1="t q 2.2 watts=10", R9="q p kind=lamp cold=0.5 hot=8 watts=5").found(R9="q p 0.01"),
        "mend",
        "half a decibel, and nothing keeps the tweeter from burning any more",
        blames("R9"),
        buys(1, 1),
        tells("put a lamp back"),
    )
    yield case(
        "capacitor ten times too big",
        SHELF.found(C2="in t 47uF df=0.03@1kHz kind=electrolytic volts=100"),
        "mend",
        "a slip of the pen, another part, or a short: read it again first",
        blames("C2"),
        tells("read C2 again"),
    )
    yield case(
        "resistor in a coil's place",
        SHELF.found(L2=None, R7="t 0 10 watts=5"),
        "mend",
        "somebody had no coil: it goes back, and his resistor comes out",
        blames("L2"),
        tells("take out R7"),
    )

    # Limits.
    yield case(
        "corner at the tweeter's resonance, loud",
        replace(LOW_CORNER, listening=LOUD),
        "mend|bypass|revalue|redesign",
        "flat, and the tweeter dies of watts below its resonance: a higher corner",
        tells(r"tweeter\b.{0,40}\bbelow its resonance"),
        spoils_no_more_than(3.0),
        for_safety=True,
    )
    yield case(
        "corner at the tweeter's resonance, quiet",
        replace(LOW_CORNER, listening=QUIET),
        "leave",
        "milliwatts: it has lived so for decades",
    )
    yield case(
        "amplifier that cannot",
        LOW_LOAD,
        "amplifier|revalue|redesign",
        "3 ohm where it wants 6: another amplifier, unless other values mend it",
        tells(r"\bohm\b"),
        spoils_no_more_than(3.0),
        for_safety=True,
    )
    yield case(
        "amplifier that cannot, channels at hand",
        replace(LOW_LOAD, bypass=TWO_AMPLIFIERS["bypass"], channels=CHANNELS, means={"channels": 4}),
        "bypass",
        "the channels at hand bear each bare driver",
        for_safety=True,
    )

    # The design.
    yield case(
        "poor design",
        POOR,
        "revalue|redesign",
        "corners two octaves apart leave a hole; other values fill it",
        gains(2.0),
        without("rewire"),
    )
    yield case(
        "poor design, aged",
        POOR_AGED,
        "revalue|redesign",
        "the same hole: to refresh it buys it back",
        gains(2.0),
        without("rewire"),
    )
    yield case(
        "poor design, aged, old voicing wanted",
        replace(POOR_AGED, means={"wants": "voicing"}),
        "refresh",
        "the owner wants what it was",
        buys(1, 3),
    )
    yield case(
        "poor design, old voicing wanted",
        replace(POOR, means={"wants": "voicing"}),
        "leave",
        "it is what it was",
    )
    yield case(
        "poor design, aged, best sound wanted",
        replace(POOR_AGED, means={"wants": "sound"}),
        "revalue|redesign",
        "best sound is not the old one",
        gains(2.0),
    )
    yield case(
        "horn 5 dB hot",
        HORN.marked(R1="t p 1.5 watts=20 tol=5%", R2="p 0 8.2 watts=20 tol=5%"),
        "trim",
        "only its level is wrong: a pad of two resistors takes it",
        buys(1, 2),
        names("horn"),
        gains(1.5),
    )
    yield case(
        "horn reversed by design",
        TURNED_HORN,
        "rewire",
        "turned round it is flatter by 3 dB, for nothing",
        names("horn"),
        within(0),
        gains(2.0),
    )
    yield case(
        "mid reversed by design",
        THREE.marked(Xmid="m3 0 mid"),
        "rewire",
        "how deep the hole is nobody knows to a decibel; that two wires fill it is sure",
        names("mid"),
        within(0),
        gains(6.0),
    )
    yield case(
        "one wrong coil, no history",
        replace(SHELF.marked(L1="in w 3.3mH dcr=0.4 core=air"), history=False),
        "revalue",
        "five healthy parts and a coil five times too big: one coil is wound or bought",
        names("L1"),
        buys(1, 1),
        gains(2.0),
    )
    yield case(
        "wrong woofer, exact parts",
        SHELF.driver("woofer", re_ohm=4.3, sensitivity_db=92.5, fs_hz=38, le_mh=0.9, low_pass=(3000, 0.9)),
        "trim|revalue|redesign|driver",
        "every part as marked; the woofer is 4 dB louder and of other impedance",
        without("refresh"),
    )

    # Odd drivers.
    yield case(
        "odd woofer in one of a pair",
        with_mate,
        "driver",
        "left has another woofer than right: its mate is found, or both get the same",
        names("woofer"),
        options=("--mate", "right"),
    )
    yield case(
        "odd woofer in a parallel pair",
        replace(TWINS, drivers={**TWINS.drivers, "woofer2": replace(OLD_STOCK, position_mm=(0, 150, 3))}),
        "driver",
        "one of two parallel woofers is another type: no part cures that",
        names("woofer2?"),
    )

    # Means.
    two = DOUBLE_DRY
    yield case(
        "5 for a pair, two dry",
        replace(two, means={"money": 5}),
        "refresh|leave",
        "new electrolytics of the same kind are under 1 each; films are not, and then it waits",
        within(5),
    )
    yield case(
        "15 for a pair, two dry",
        replace(two, means={"money": 15}),
        "refresh",
        "a film for the tweeter, or two electrolytics a side",
        within(15),
        names("C2"),
    )
    yield case(
        "20 for a pair, two dry",
        replace(two, means={"money": 20}),
        "refresh",
        "a film for the tweeter and an electrolytic for the woofer a side",
        within(20),
        names("C2"),
    )
    yield case(
        "no money, two amplifiers, poor design",
        replace(POOR, **TWO_AMPLIFIERS),
        "bypass",
        "channels and crossover are there: it costs nothing",
        within(0),
    )
    yield case(
        "no money, two amplifiers, fine design",
        replace(SHELF, **TWO_AMPLIFIERS),
        "leave",
        "there is nothing to better",
        within(0),
    )
    yield case(
        "no money, two amplifiers, two dry",
        replace(two, **TWO_AMPLIFIERS),
        "leave|bypass",
        "no part can be bought: it waits, or the channels at hand go round them",
        within(0),
    )

    # Evidence.
    yield case(
        "untouched placeholders",
        started,
        "none yet",
        "nothing of this speaker is in it",
        tells("no verdict yet"),
        three_things,
        without(*BUILDS),
    )
    yield case(
        "placeholders, one driver edited",
        one_driver_edited,
        "none yet",
        "the woofer and the board are nobody's",
        tells("no verdict yet"),
        without(*BUILDS),
    )
    yield case(
        "original.cir untouched",
        template_as_original,
        "leave",
        "a template is no history: the board as it is sums well",
        without("refresh"),
    )
    yield case(
        "phone levels",
        replace(SHELF, phone=8.0),
        "leave",
        "the treble that falls off is the phone's own",
        without("trim", "bypass", "revalue", "redesign"),
        never_tells("nothing is assumed"),
    )
    yield case(
        "phone levels, a halved capacitor",
        replace(HALVED, phone=8.0),
        "refresh|mend",
        "a difference of two networks needs no microphone",
        names("C2"),
        never_tells(r"dB (too )?(hot|faint|loud|low)\b"),
    )
    yield case(
        "datasheets only",
        from_datasheets(SHELF),
        "leave|none yet",
        "the board is as marked; of the sum nothing is known",
        without("rewire", "trim", "bypass", "revalue", "redesign"),
        tells("measure|sweep"),
    )
    yield case(
        "datasheets only, a halved capacitor",
        from_datasheets(HALVED),
        "refresh|mend",
        "what it does is known well enough from a datasheet's impedance",
        names("C2"),
        never_tells(r"dB (too )?(hot|faint|loud|low)\b"),
    )
    yield case(
        "a former owner's pad",
        SHELF.found(R1="t q 2.7 watts=10", R8="q p 4.7 watts=10"),
        "mend",
        "what was added is taken out again, for nothing",
        blames("R8"),
        buys(0, 0),
    )
    yield case(
        "a capacitor added before the woofer",
        SHELF.found(C9="in q 33uF kind=film volts=100", L1="q w 0.68mH dcr=0.3 core=air"),
        "mend",
        "it keeps the bass off the woofer: take it out",
        blames("C9"),
        buys(0, 0),
    )
    yield case(
        "a bank in the place of one capacitor",
        SHELF.found(C2="in t 3.3uF kind=film volts=100", C2a="in t 1.4uF kind=film volts=100"),
        "leave",
        "two that add up to the marked value are no fault",
        blames_nobody,
    )
    yield case(
        "two resistors exchanged",
        SHELF.found(R1="t p 33 watts=10", R2="p 0 2.7 watts=10"),
        "mend",
        "both are there, each in the other's place: nothing is bought",
        blames("R1"),
        buys(0, 0),
    )
    yield case(
        "no responses",
        replace(SHELF, responses=False),
        "leave|none yet",
        "drives are as designed; the sum is not known",
        without("rewire", "trim", "bypass", "revalue", "redesign"),
    )
    yield case(
        "no responses, one dry electrolytic",
        replace(SHELF.found(C2=AGED_2), responses=False),
        "refresh",
        "the drive of the tweeter fell by decibels, whatever it makes of them",
        names("C2"),
        without("trim", "bypass", "revalue", "redesign"),
    )
    yield case(
        "tweeter known from 300 Hz, one dry electrolytic",
        SHELF.found(C2=AGED_2).driver("tweeter", impedance_hz=(300, 20_000)),
        "refresh",
        "below 300 Hz it plays nothing: the answer is the same",
        names("C2"),
        buys(1, 2),
    )
    yield case(
        "tweeter known from 300 Hz, poor design",
        POOR.driver("tweeter", impedance_hz=(300, 20_000)),
        "revalue|redesign",
        "the hole lies two octaves higher than the sweep begins",
        gains(2.0),
    )
    meter = replace(SHELF, impedances=False, responses=False, timing="unknown")
    meter = meter.driver("woofer", keys={"re_ohm": 5.8}).driver("tweeter", keys={"re_ohm": 5.4})
    yield case(
        "a multimeter only",
        meter,
        "none yet|leave",
        "DC resistances and sizes: the rest is assumed, and no change stands on it",
        without("rewire", "trim", "bypass", "revalue", "redesign"),
        tells("measure|sweep"),
    )


CASES = tuple(_cases())


def table(answers: Mapping[str, str] | None = None) -> str:
    """The cases as a table: name, what the trade would answer, what was told (where it is given), why."""
    rows = [("case", "expected", "got", "why")]
    rows += [(c.name, " or ".join(c.rungs), (answers or {}).get(c.name, ""), c.why) for c in CASES]
    widths = [max(len(row[i]) for row in rows) for i in range(3)]
    return "\n".join(
        "  ".join([*(cell.ljust(w) for cell, w in zip(row, widths, strict=False)), row[3]]) for row in rows
    )


if __name__ == "__main__":
    print(table())
