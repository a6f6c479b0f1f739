"""What the trade and the standards hold: bands, steps of hearing, margins, likeness, severities; each with its source.

Plain values and rules of a line or two; nothing here reads a curve or a card. A study asks here: it has no limit of its
own.
"""
