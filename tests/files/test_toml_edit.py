"""Numbers are put into speaker.toml without touching anything else of it."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.errors import InputError, OptionError
from xover.files.toml_edit import _with_network, set_numbers, with_keys

KEY = ("drivers", "tweeter", "delay_us")
TEXT = (
    '# mine\r\ntitle = "Größe"\r\n[drivers.woofer]  # low\r\nre_ohm = 5\r\n\r\n'
    "[drivers.tweeter]   # high\r\nposition_mm = [0,\r\n  70, # up\r\n  -3]\r\nre_ohm = 6 # cold\r\n"
)


def test_a_new_key_stands_under_its_head_and_the_rest_stays(tmp_path):
    path = tmp_path / "speaker.toml"
    for mark in (b"", b"\xef\xbb\xbf"):
        path.write_bytes(mark + TEXT.encode())
        set_numbers(path, {KEY: 63.25, ("drivers", "tweeter", "gain_db"): -0.8})
        head = "[drivers.tweeter]   # high\r\n"
        assert path.read_bytes() == mark + TEXT.replace(head, f"{head}delay_us = 63.25\r\ngain_db = -0.8\r\n").encode()


def test_an_old_key_is_replaced_with_force_alone(tmp_path):
    path = tmp_path / "speaker.toml"
    path.write_bytes(TEXT.replace("re_ohm = 6 #", "delay_us = 12.5 #").encode())
    before = path.read_bytes()
    with pytest.raises(OptionError, match=r"speaker\.toml:10: drivers\.tweeter\.delay_us is 12\.5 already"):
        set_numbers(path, {KEY: 63.0, ("drivers", "woofer", "delay_us"): 1.0})
    assert path.read_bytes() == before
    set_numbers(path, {KEY: 63.0}, force=True)
    assert path.read_bytes() == before.replace(b"12.5", b"63")
    set_numbers(path, {KEY: 63.0})  # as it is already


NAME = ("drivers", "tweeter", "impedance")


@pytest.mark.parametrize("old", ['"a # \'b.csv"', "'a # \"b.csv'", '"a\\u0020b.csv"', '"""a.csv"""'])
def test_words_are_replaced_whole_or_not_at_all(tmp_path, old):
    """A comment behind them stays; what cannot be told from one is left to its owner."""
    path = tmp_path / "speaker.toml"
    before = TEXT.replace("re_ohm = 6 #", f"impedance = {old}   #").encode()
    with pytest.raises(OptionError, match=r"drivers\.tweeter\.impedance is a.*already"):
        with_keys(before, {NAME: "b.csv"}, path, False)
    if old.startswith('"""'):
        with pytest.raises(InputError, match=r'add them yourself: drivers\.tweeter\.impedance = "b\.csv"'):
            with_keys(before, {NAME: "b.csv"}, path, True)
    else:
        assert with_keys(before, {NAME: "b.csv"}, path, True) == before.replace(old.encode(), b'"b.csv"')


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_key_of_no_table_stands_behind_the_title_or_first(tmp_path, mark):
    key = {("timing",): "common"}
    text = TEXT.encode()
    title = 'title = "Größe"\r\n'.encode()
    edited = with_keys(mark + text, key, tmp_path / "speaker.toml", False)
    assert edited == mark + text.replace(title, title + b'timing = "common"\r\n')
    untitled = text.replace(title, b"")
    edited = with_keys(mark + untitled, key, tmp_path / "speaker.toml", False)
    assert edited == mark + b'timing = "common"\r\n' + untitled


@pytest.mark.parametrize(
    "text",
    [
        "drivers = { tweeter = { re_ohm = 5 } }\n",
        "drivers.tweeter.re_ohm = 5\n",
        "[drivers]\ntweeter = { re_ohm = 5 }\n",
        "[drivers.tweeter.datasheet]\nre_ohm = 5\n",
        "[drivers.woofer]\nre_ohm = 5\n",
    ],
)
def test_where_no_table_has_a_head_nothing_is_written_and_the_lines_are_told(tmp_path, text):
    path = tmp_path / "speaker.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"drivers\.tweeter\.delay_us = 63"):
        set_numbers(path, {KEY: 63.0})
    assert path.read_text(encoding="utf-8") == text
    assert [p.name for p in tmp_path.iterdir()] == ["speaker.toml"]


HEAD = "[drivers.tweeter]   # high\r\n"
ENCODINGS = {
    "latin-1": (b"", "latin-1"),
    "utf-8": (b"", "utf-8"),
    "utf-8 with mark": (b"\xef\xbb\xbf", "utf-8"),
    "utf-16": (b"\xff\xfe", "utf-16-le"),
    "utf-16 without mark": (b"", "utf-16-be"),
}


@pytest.mark.parametrize(("mark", "codec"), ENCODINGS.values(), ids=ENCODINGS)
def test_an_encoding_stays_as_it_is(tmp_path, mark, codec):
    path = tmp_path / "speaker.toml"
    path.write_bytes(mark + TEXT.encode(codec))
    set_numbers(path, {KEY: 63.0})
    assert path.read_bytes() == mark + TEXT.replace(HEAD, f"{HEAD}delay_us = 63\r\n").encode(codec)


@pytest.mark.parametrize("last", ["\r\n", "\n", "\r", "\r\n\r\n", ""])
@pytest.mark.parametrize(("mark", "codec"), ENCODINGS.values(), ids=ENCODINGS)
def test_a_network_is_added_and_every_byte_stays(tmp_path, mark, codec, last):
    """Line ends are those of the file's end, and where it ends without one it does so still."""
    before = mark + (TEXT.rstrip() + last).encode(codec)
    after = _with_network(before, "better", tmp_path / "speaker.toml")
    assert after.startswith(before)
    end = last[:2] if last[:2] in ("\r\n",) else last or "\r\n"
    lines = f'{"" if last else end}{end}[networks.better]{end}circuit = "better.cir"{end if last else ""}'
    assert after[len(before) :].decode(codec) == lines


def test_characters_of_windows_stay_as_bytes(tmp_path):
    before = b"# \x80 \x85 \x81 \xfc\n[drivers.woofer]\nre_ohm = 5\n[drivers.tweeter]\n"
    path = tmp_path / "speaker.toml"
    path.write_bytes(before)
    set_numbers(path, {KEY: 63.0})
    assert path.read_bytes() == before + b"delay_us = 63\n"


def test_no_text_is_refused(tmp_path):
    path = tmp_path / "speaker.toml"
    for data in (b"\xef\xbb\xbf\xff", b"title = 1\0"):
        path.write_bytes(data)
        with pytest.raises(InputError, match="is not a text file"):
            set_numbers(path, {KEY: 63.0})
        assert path.read_bytes() == data


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=12)


@given(WORDS, st.sampled_from(["\n", "\r\n"]), st.floats(-2e4, 2e4), st.booleans())
def test_what_is_read_back_is_what_was_there_and_the_number(tmp_path_factory, words, end, number, there):
    path = tmp_path_factory.mktemp("toml") / "speaker.toml"
    quoted = words.replace("\\", "\\\\").replace('"', '\\"')
    lines = [f'title = "{quoted}" # {words}', "[drivers.woofer]", "re_ohm=5", f"[ drivers . tweeter ] # {words}"]
    lines += ["delay_us=1.0#x"] if there else []
    path.write_bytes(end.join([*lines, "re_ohm = 6"]).encode())
    before = tomllib.loads(path.read_bytes().decode())
    set_numbers(path, {KEY: number}, force=True)
    after = tomllib.loads(path.read_bytes().decode())
    assert after["drivers"]["tweeter"].pop("delay_us") == float(f"{number:.10g}")
    before["drivers"]["tweeter"].pop("delay_us", None)
    assert after == before
    assert path.read_bytes().decode().count(f"# {words}") == end.join(lines).count(f"# {words}")
