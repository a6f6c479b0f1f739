"""Exit statuses where an output ends, is closed or full, or has few signs; `benchmarks/exit_codes.py` runs all."""

import json
import os
import subprocess
import sys

import pytest

from xover.cli import streams
from xover.cli.show import clean, escaped
from xover.errors import OptionError

RUN = "from xover.cli.main import run; run()"
FULL = "/dev/full"
needs_full = pytest.mark.skipif(not os.path.exists(FULL), reason="no device here that is always full")
HIDDEN = "\u202a\u202e\u2066\u2069\u200e\u200f\u061c\u200b\u200d\ufeff\x7f\x9b\u2028\ud800"


def shell(line, *arguments, **environment):
    """A line of a shell in which "$@" is the program with its arguments."""
    given = ["bash", "-c", line, "bash", sys.executable, "-c", RUN, *map(str, arguments)]
    return subprocess.run(given, capture_output=True, env={**os.environ, **environment}, timeout=120)


@pytest.mark.parametrize("reader", ["true", "head -1"])
def test_a_reader_who_goes_changes_no_status(attic, reader):
    """Not of a limit that is broken either: here it is."""
    left = attic / "speaker.toml"
    left.write_text(left.read_text("utf-8").replace("minimum_load_ohm = 4", "minimum_load_ohm = 9"), "utf-8")
    line = f'"$@" | {reader}; exit ${{PIPESTATUS[0]}}'
    ended = shell(line, "load", left, "--strict")
    assert ended.returncode == 1
    assert b"Traceback" not in ended.stderr
    assert b"Broken" not in ended.stderr
    assert b"error" not in ended.stderr


def test_such_a_run_is_0_without_a_limit():
    ended = shell('"$@" | true; exit ${PIPESTATUS[0]}', "coil", "1.8mH", "--json")
    assert (ended.returncode, ended.stderr) == (0, b"")


@needs_full
@pytest.mark.parametrize("line", [f'"$@" > {FULL}', '"$@" >&-'])
def test_an_output_that_takes_nothing_is_2_with_one_line(line):
    ended = shell(line, "values", "4.73uF", "--json")
    assert ended.returncode == 2
    assert ended.stderr.startswith(b"error: standard output does not take the answer: ")
    assert ended.stderr.count(b"\n") == 1


@needs_full
@pytest.mark.parametrize(("line", "status"), [('"$@" >&- 2>&-', 2), (f'"$@" > {FULL} 2>&-', 2), (f'"$@" 2> {FULL}', 0)])
def test_what_standard_error_does_not_take_is_lost(line, status):
    ended = shell(line, "coil", "1.8mH")
    assert (ended.returncode, ended.stderr) == (status, b"")
    assert bool(ended.stdout) == (status == 0)


@pytest.mark.parametrize("encoding", ["ascii", "cp437"])
def test_a_narrow_encoding_gets_plain_spelling(encoding):
    ended = shell(
        '"$@"',
        "check",
        "\u03a9 \u00b1 5 \u2013 \u2018\u00b5\u2019 \u00e9\u97f3",
        PYTHONIOENCODING=encoding,
        PYTHONUTF8="1",
    )
    assert ended.returncode == 2
    said = ended.stderr.decode(encoding).replace("±", "+-").replace("Ω", "ohm").replace("é", "e").replace("µ", "u")
    assert said.startswith("error: ohm +- 5 - 'u' e?")


def test_the_c_locale_is_ascii(tmp_path):
    (tmp_path / "Ω").mkdir()
    settings = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    ended = shell('"$@"', "new", tmp_path / "Ω" / "a", **settings)
    assert ended.returncode == 0, ended.stderr
    assert (tmp_path / "Ω" / "a" / "speaker.toml").is_file()
    assert ended.stdout.isascii()


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "ascii"])
def test_json_is_safe_to_print_and_reads_the_same(encoding):
    given = {"title": f"{HIDDEN} Ω é \U0001f50a\n"}
    shown = escaped(json.dumps(given, ensure_ascii=False), encoding)
    shown.encode(encoding)
    assert shown.isprintable()
    assert json.loads(shown) == given
    assert ("é" in shown) == (encoding != "ascii")
    assert ("Ω" in shown) == (encoding == "utf-8")


def test_what_turns_or_hides_words_never_reaches_a_terminal():
    assert clean(f"a{HIDDEN}b").split() == ["a", "b"]


def test_every_spelling_is_plain():
    assert all(words.isascii() and words.isprintable() for words in streams.SPELLED.values())
    assert streams.spelled("½ mm², 4.7 µF ± 5 %, 90°", "ascii") == "1/2 mm2, 4.7 uF +- 5 %, 90 deg"


def test_a_stream_fails_once(tmp_path):
    """What follows goes nowhere: at the end of the program there is nothing left to fail."""
    (tmp_path / "there").touch()
    stream = streams.Stream(open(tmp_path / "there", "w", encoding="utf-8"), optional=False)  # noqa: SIM115
    reading = os.open(tmp_path / "there", os.O_RDONLY)
    os.dup2(reading, stream.fileno())
    stream.write("words")
    with pytest.raises(OptionError, match="does not take the answer"):
        stream.flush()
    stream.write("more")
    stream.flush()
    stream.close()
    os.close(reading)
    assert (tmp_path / "there").read_bytes() == b""
