"""A sound two-way network of second order for invented drivers: what tests of the judge start from."""

GOOD = (
    "* good\nL1 in w 1mH dcr=0.3\n"
    "Xlow w 0 woofer\nC1 in t 4.7uF esr=0.2\nL2 t 0 0.3mH dcr=0.4\nXhigh 0 t tweeter\n.end\n"
)
