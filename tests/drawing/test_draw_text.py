"""Text for figures: shortened, wrapped, and within what the font can draw."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.drawing.style import cut, drawable, wrap
from xover.quantity import hertz, ohms


def at_most(count):
    return lambda text: len(text) <= count


def test_cut_keeps_both_ends():
    assert cut("woofer", 28) == "woofer"
    assert cut("abcdefghij", 10) == "abcdefghij"
    assert cut("abcdefghijk", 7) == "abc…ijk"
    assert cut("abcdefghijk", 6) == "abc…jk"


@given(st.text(max_size=60), st.integers(3, 40))
def test_cut_never_exceeds(text, most):
    got = cut(text, most)
    assert len(got) <= most
    assert got == text or "…" in got


def test_wrap_breaks_at_blanks():
    assert wrap("one two three four", at_most(9), 5) == ["one two", "three", "four"]
    assert wrap("one two", at_most(7), 5) == ["one two"]
    assert wrap("", at_most(7), 5) == []


def test_wrap_breaks_a_long_word():
    assert wrap("abcdefghij", at_most(4), 5) == ["abcd", "efgh", "ij"]


def test_wrap_says_that_it_cuts():
    assert wrap("one two three four", at_most(9), 2) == ["one two", "three…"]
    assert wrap("abcdefghij", at_most(4), 2) == ["abcd", "efg…"]


@given(st.text(alphabet="ab c", max_size=80), st.integers(2, 12), st.integers(1, 5))
def test_wrap_fits_and_loses_nothing_unsaid(text, wide, most):
    lines = wrap(text, at_most(wide), most)
    assert len(lines) <= most
    assert all(0 < len(line) <= wide for line in lines)
    letters = "".join(text.split())
    kept = "".join("".join(lines).split())
    assert kept == letters or (kept.endswith("…") and letters.startswith(kept[:-1]))


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain $x^2$ <b>", "plain $x^2$ <b>"),
        ("µ Ω … ü Ж λ", "µ Ω … ü Ж λ"),
        ("a\tb\nc\x00d", "a b c d"),
        ("日本", "\ufffd\ufffd"),
    ],
)
def test_what_the_font_lacks_is_marked(text, shown):
    assert drawable(text) == shown


def test_quantities():
    assert hertz(2389.66) == "2.39 kHz"
    assert hertz(102.4) == "102 Hz"
    assert ohms(5.7145) == "5.71 ohm"
