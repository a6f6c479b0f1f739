"""Limits and margins: of sums, loads, ratings, tweeters, DC.

Where no source is named, it is common practice, no published source.
"""

from __future__ import annotations

from typing import Final

ROUNDING: Final = 1e-9
"""A limit that is met but for rounding, relative, counts as met."""
NEAR_LIMIT: Final = 1e-3
"""A load that is met but for what a grid of frequencies leaves open, relative, counts as met."""

# What arithmetic can tell: below, a voltage or a current is nothing, and no level of it is printed.
CANCELS: Final = 1e-10
"""A voltage between two points, as a share of what each has, that is left over where both have the same. The error of a
solve is the rounding, 2e-16, times the condition of its equations (Higham, Accuracy and Stability of Numerical
Algorithms, 2nd ed. 2002, ch. 7; from memory): counted up to 5e-11 in 600 random networks that reach no ground, values
anywhere within a netlist's bounds."""
NO_VOLTAGE: Final = 1e-15
"""The same against the amplifier's volt, where both points are nearly without any: -300 dB, a few roundings."""
NO_CURRENT: Final = 1e-11
"""Amperes from one volt that nothing draws: no parts in the bounds of a netlist come near 100,000 megohm."""

# The sum.
DEVIATION_DB: Final = 3.0
DEVIATION_MOST_DB: Final = 6.0
"""Half of the sum's range: +-3 dB is how loudspeakers are usually specified; beyond +-6 dB it fails."""
NULL_DB: Final = 12.0
"""A reversed null shallower than this shows drivers out of step."""
AS_FLAT_DB: Final = 0.2
"""Half ranges of sums that differ by no more than this are as good as each other: parts decide. Twice what a careful
measurement repeats to; common practice, no published source."""
POLARITY_DB: Final = 2.0
"""Less than this between the two polarities, round a crossover, is a matter of taste."""
YIELD_SHARE: Final = 1.25
YIELD_LEAST_DB: Final = 1.0
"""Builds may stray by a quarter more than the smallest deviation of all proposals, and by this at the least."""
STEP_DB: Final = 2.0
"""A fall of less than this from bass to middle is not called a correction of the baffle; a whole step is 6 dB."""
PAD_DB: Final = 1.0
"""A loss of less than this is that of coils, not of a pad."""
NO_DROP_DB: Final = 0.05
"""A control that drops less than this is all but out of the circuit: there is no pad to compare it with."""
WORTH_SAYING: Final = 0.02
"""A change of damping smaller than this is not worth a word."""
DEEPER_DB: Final = 1.0
LOUDER_DB: Final = 0.3
"""A change of a null's depth, or of the mean level, by less is not worth one either. Common practice."""
CLEAR_SHARE: Final = 0.03
"""A load, or a cost, that is better or worse by less than this is the same."""

# What lies beyond a sweep.
TIGHT_DB: Final = 0.1
TIGHT_SHARE: Final = 0.01
"""A drive or a sum, and a load, that cannot be off by more is told where a driver's sweep does not reach; else it stays
blank. As near as a careful measurement repeats to."""

# The load.
IEC_LEAST_SHARE: Final = 0.8
"""IEC 60268-5:2003+A1:2007, 16.1: the lowest |Z| in the rated frequency range is not less than 80 % of the rated
impedance (as reported second-hand; the standard itself was not read)."""
EPDR_CAUTION_SHARE: Final = 0.5
"""EPDR below this share of the lowest load allowed is called out: about half is what a loudspeaker's falls to."""
EPDR_FLOOR_SHARE: Final = 0.3535533905932738
"""EPDR of a load of the lowest modulus allowed at 45 degrees: 1/(2 sqrt 2) (derived; see amplifier/load.py)."""
SHORT_SHARE: Final = 0.8
"""A driver that is taken out makes a short where the load falls below this share of what it was, and too low."""
SHORT_SHARE_UNRATED: Final = 0.5
"""The same where no lowest load of the amplifier is known."""
VALVES_OHM: Final = 0.5
"""From this output resistance on, a change of the load is a change of the sound too."""

# Ratings of parts, and programme.
CREST: Final = 4.0
"""Peak over rms of music that an amplifier plays without clipping: 12 dB."""
HEADROOM_DB: Final = 12.0
"""The same in decibels, where [listening] names no headroom."""
CLIPPED_CREST: Final = 2.0
"""The same where the amplifier is driven into clipping."""
HIGHEST_CREST: Final = 100.0
RESISTOR_MARGIN: Final = 2.0
"""Times the watts of the programme."""
CAPACITOR_MARGIN: Final = 1.3
"""Times the peak of a full sine at the worst frequency, 30 to 40 % over it as a rule. It also covers the 4/pi = 1.27 by
which a square wave drives a resonance harder than a sine."""
COIL_MARGIN: Final = 1.0
# A part is judged by its stress alone: a resistor whose heat at the listening level passes its rating burns, a stop;
# any other rating that is passed, then or at the amplifier's full power, is a caution; a margin not kept is a note.
USUAL_WATTS: Final = (5.0, 10.0, 20.0, 50.0, 100.0)
USUAL_VOLTS: Final = (50.0, 63.0, 100.0, 160.0, 250.0, 400.0, 630.0)
"""Ratings that shops usually have. Common practice, no published source."""
HOT_W: Final = 2.0
"""From these watts on a resistor of usual size is too hot to touch."""
RAISED_VOLTAGE: Final = 1.5
"""A capacitor that bears so many times the amplifier's voltage is named."""
LOUD_DB: Final = 85.0
"""For 8 hours a day the usual limit at work (from memory: European directive 2003/10/EC, in dB(A))."""
LEAST_LOST: Final = 0.001
"""Less of the programme than this is not worth a word."""
ONE_WINDING_K: Final = 0.9
"""Coils coupled closer than this are parts of one winding."""

# Tweeters, and what keeps harm off them.
TWEETER_FS_HZ: Final = 300.0
"""Drivers that resonate above this are taken for tweeters, horns or small mids; below half of it for woofers."""
RESONANCE_RATIO: Final = 2.0
"""A crossover lies this many times above the resonance of the driver above it..."""
RESONANCE_RATIO_FIRST_ORDER: Final = 4.0
"""...and with a first-order slope this many times."""
TWEETER_W: Final = 0.1
"""Average watts below resonance that any tweeter stands at the listening level: more is a caution, whatever the design
does: a design that burns its tweeter is no measure."""
TWEETER_MOST: Final = 4.0
"""Times the limit, 6 dB more: then it is a stop."""
QUIET_DB: Final = -20.0
MORE_DB: Final = 1.0
"""Below its resonance a tweeter may get so much drive, or so much more than it gets today."""
WOOFER_LOSS_DB: Final = 2.0
"""A resistance before a woofer that takes more than this at DC bends its bass: no coil of usual wire does. Common
practice, no published source."""
BARE_SHARE: Final = 0.2
"""More of a DC voltage than this at a tweeter: no capacitor stands before it. Less: a coil lies across it."""
KEPT_OFF_SHARE: Final = 0.005
"""More of a DC voltage than this at a tweeter is worth a word."""
DC_PATH_SHARE: Final = 0.1
"""A woofer that gets less of a DC voltage than this has a capacitor in series."""
BLOCKED_DB: Final = -40.0
"""Where a drive lies this far down at 20 Hz, the network kept DC off the driver."""
FAULT_DC_V: Final = 2.0
"""An amplifier's offset after a mishap, well below its rails, to show what it does."""
OFFSET_V: Final = 0.05
"""More DC at an amplifier's output is too much to connect a loudspeaker to."""
BATTERY_V: Final = 1.5
HISS_DB: Final = 3.0
"""A pad that is missing is heard in the hiss from here on."""
LOUD_PEAK_DB: Final = -20.0
"""A break-up peak this far below the sum behind the crossover, or less, is heard."""
FAINT_PEAK_DB: Final = -30.0
"""One that lies lower than this is not."""
TWIN_DEG: Final = 10.0
"""A twin that misses by more than this, or by a change that is heard, is pointed out."""
PASS_DB: Final = -6.5
"""Beyond the corner the slopes themselves differ: -6 dB of a Linkwitz-Riley slope is its corner."""
GOOD_DB: Final = 0.4
GOOD_DEG: Final = 7.0
"""A correction of a protection capacitor that leaves no more than this is good."""
FILM_FARAD: Final = (1e-6, 330e-6)
"""Film capacitors on sale."""

# Drivers and parts that are dead.
OPEN_DRIVER_OHM: Final = 1000.0
SHORTED_DRIVER_OHM: Final = 0.5
"""No voice coil has more, or less: over three quarters of the sweep its impedance passes this."""
DEAD_PART: Final = 10.0
"""A part whose value is so many times that of the original, or a share of it, is open or shorted, not aged."""
EXCHANGED_WITHIN: Final = 1.3
"""Two parts are in each other's place where each reads within this factor of what the other is marked with, and their
marks are more than twice as far apart."""
ALL_OFF_SHARE: Final = 0.1
ALL_ALIKE_SHARE: Final = 0.1
ALL_OFF_PARTS: Final = 4
"""So many parts, a coil and a capacitor among them, that all read off by more than the first, one way, and by the same
within the second, did not age so: it is the meter, or the marks are another speaker's (common practice)."""
LINK_OHM: Final = 0.5
"""A resistor of less than this where another part stood is a bridge of wire."""
DEAD_DB: Final = -40.0
"""A driver that gets this much less than from the original, everywhere in its band, gets nothing."""
TURNED_DEG: Final = 45.0
"""Drives that are this near to half a turn apart, on average, are of opposite polarity."""

# Another driver in the old one's place.
UPPER_LACK_DB: Final = 1.5
LOWEST_LACK_DB: Final = 3.0
"""So much level may be lacking at the most: an upper way has nobody to come down for it, the lowest one has the others'
pads."""
