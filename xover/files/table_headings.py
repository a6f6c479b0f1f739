"""What one heading of a measurement table says: the role of its column, and a unit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum


class Role(Enum):
    """What a column holds."""

    FREQUENCY = "frequency"
    MAGNITUDE = "magnitude"
    PHASE = "phase"
    REAL = "real part"
    IMAGINARY = "imaginary part"
    UNCERTAINTY = "uncertainty"
    OTHER = "other"


@dataclass(frozen=True)
class Heading:
    """What one heading says: a role, a unit if it names one, else the quantity that its word implies.

    negative : an imaginary part is given with its sign turned, as in '-Im(Z)'.
    """

    role: Role
    unit: str | None
    text: str
    implies: str | None = None
    negative: bool = False

    @property
    def is_part(self) -> bool:
        """A real or an imaginary part."""
        return self.role in (Role.REAL, Role.IMAGINARY)


# A number before a unit makes it a value in a sentence ("at 1 kHz"), not the unit of a column.
_NO_VALUE = r"(?<![0-9])(?<![0-9]\s)(?<![a-z])"
_UNITS = (
    (Role.FREQUENCY, re.compile(_NO_VALUE + r"(?P<unit>[km]?\s?hz|rad(?:ians?)?\s?(?:/|per)\s?s(?:ec)?)(?![a-z])")),
    (Role.PHASE, re.compile(_NO_VALUE + r"(?P<unit>deg(?:rees?|s)?|rad(?:ians?)?|gon|turns?)(?![a-z/])")),
    (
        Role.MAGNITUDE,
        re.compile(_NO_VALUE + r"(?P<unit>(?:k|m|meg|mega|kilo|kil|milli)?\s?ohms?|db(?:spl|ohms?|[a-z])?)(?![a-z])"),
    ),
    (Role.MAGNITUDE, re.compile(r"(?:[(\[]\s*|^)(?P<unit>m?v|m?pa|v/v|pa/v|%)(?:\s*[)\]]|$)")),
)
_PARTS = (
    (Role.REAL, re.compile(r"(?:z ?|[a-z] )?(?:rez?|real\w*)\b(?! *20)|resistance\b|z ?['\u2032](?!['\u2032])")),
    (
        Role.IMAGINARY,
        re.compile(r"-? ?(?:(?:z ?|[a-z] )?(?:imz?|imag\w*)\b|reactance\b|z ?(?:''|\"|\u2033|\u2032\u2032))"),
    ),
)
_OF_AN_IMPEDANCE = re.compile(r"(?<!h)z(?![a-z])|resistance|reactance")
# Letters that mean the parts of an impedance only where both stand.
_LETTERS = (
    (Role.REAL, re.compile(r"r ?s?(?: ?[(\[,/]? ?[km]?ohms? ?[)\]]?)?")),
    (Role.IMAGINARY, re.compile(r"-? ?x ?s?(?: ?[(\[,/]? ?[km]?ohms? ?[)\]]?)?")),
)
# A sentence that names both, and not 'dB re 20 uPa'.
BOTH_PARTS = re.compile(r"\b(?:real\w*|re)\b.{0,40}?\b(?:imag\w*|im)\b")
_WORDS = (
    (Role.PHASE, re.compile(r"ph|phas[eo]?|fas[eo]?|faz[ae]|angle|arg|phi|theta|[\u03c6\u03d5\u03b8\u03d1]"), None),
    (Role.MAGNITUDE, re.compile(r"\|?z\|?|imp[eé]d.*"), "ohm"),
    (Role.MAGNITUDE, re.compile(r"spl"), "dB"),
    (Role.MAGNITUDE, re.compile(r"mag.*|ampl.*|level|gain|betrag|abs|mod.*|pegel"), None),
    (Role.FREQUENCY, re.compile(r"f|fr[eé]q.*"), None),
)
# Quantities that instruments write beside a magnitude, and that are neither phase nor magnitude.
_ANOTHER = re.compile(r"[lcqdrx] ?[sp]?|esr|df|tan.*|thd.*|dist.*|coh.*|noise|snr|gd|group|delay|min|max|std|sigma")
_MOST_WORDS = 3  # more of them are a sentence

# A comment line begins with one of these; fields may be quoted.
COMMENT_MARKS = " \t*#!;/%\"'"


def plain(text: str) -> str:
    """Lower case, with the signs for ohm and degree written out."""
    for sign, word in (("\u2126", "ohm"), ("\u03a9", "ohm"), ("\u00b0", " deg"), ("\u00ba", " deg")):
        text = text.replace(sign, word)
    return text.lower().replace("_", " ")


def read_heading(field: str) -> Heading | None:
    """Read one heading such as "Z (kohm)"; None where it is empty."""
    text = plain(field).strip(COMMENT_MARKS)
    if not text:
        return None
    if text.startswith("uncertainty"):
        return Heading(Role.UNCERTAINTY, "%" if "%" in field else None, field)
    named = next(((role, match) for role, pattern in _UNITS if (match := pattern.search(text))), None)
    unit = _unit_name(named[1]["unit"]) if named else None
    whole = " ".join(plain(field).split()).lstrip("\"' *#")
    for role, pattern in _PARTS:
        if pattern.match(whole):
            return Heading(role, unit, field, "ohm" if _OF_AN_IMPEDANCE.search(whole) else None, whole[0] == "-")
    if named:
        return Heading(named[0], unit, field)
    words = re.sub(r"[(\[].*", "", text).split()
    for role, pattern, implies in _WORDS:
        if len(words) <= _MOST_WORDS and any(pattern.fullmatch(word) for word in words):
            return Heading(role, None, field, implies)
    return Heading(Role.OTHER, None, field)


def is_another_quantity(heading: Heading) -> bool:
    """Whether a heading of no known role has a unit in brackets, or names what an instrument writes beside."""
    words = re.split(r"[^a-z]+", plain(heading.text).strip(COMMENT_MARKS))
    bracket = re.search(r"[(\[]", heading.text) is not None
    return heading.role is Role.OTHER and (bracket or any(map(_ANOTHER.fullmatch, words[:2])))


def units_in_order(text: str) -> list[Heading]:
    """A heading for every unit in a plain text."""
    hits = [(m.start(), role, m["unit"]) for role, pattern in _UNITS[:3] for m in pattern.finditer(text)]
    return [Heading(role, _unit_name(unit), unit) for _, role, unit in sorted(hits, key=lambda hit: hit[0])]


def _unit_name(text: str) -> str:
    """One spelling of a unit."""
    text = re.sub(r"\s", "", text)
    if text.startswith("rad"):
        return "rad" if "/" not in text and "per" not in text else "rad/s"
    if text.startswith("deg"):
        return "deg"
    if text.startswith("db"):
        return "dB"
    if "ohm" in text or "turn" in text:
        text = text.removesuffix("s")
        return {"kiloohm": "kohm", "kilohm": "kohm"}.get(text, text)
    return text


def paired_letters(fields: Sequence[str]) -> list[Heading | None] | None:
    """Headings of a line that calls the parts of an impedance R and X; None of any other line."""
    texts = [" ".join(plain(field).split()) for field in fields]
    found = {role: [i for i, text in enumerate(texts) if pattern.fullmatch(text)] for role, pattern in _LETTERS}
    if any(len(places) != 1 for places in found.values()):
        return None
    headings = [read_heading(field) for field in fields]
    for role, (place,) in found.items():
        old = headings[place]
        unit = old.unit if old is not None else None
        headings[place] = Heading(role, unit, fields[place], "ohm", texts[place].startswith("-"))
    return headings
