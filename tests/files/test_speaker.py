"""speaker.toml: what is read, how faults are worded and placed. Each case in cases/speakers is invented.

`valid/NAME.toml` is compared with values typed here; `invalid/NAME.toml` with `NAME.toml.expected`,
pieces of the message, one a line. Each case is copied to PARENT/speaker/speaker.toml, beside the files
w.csv, t.csv and found.cir, and below a file w-above.csv.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from xover.curve import Evidence
from xover.errors import InputError
from xover.files.faults import InputFaults, combined
from xover.files.speaker import Speaker, SpeakerFile, read_speaker
from xover.rules.instruments import Instrument

CASES = Path(__file__).parent / "cases" / "speakers"
VALID = sorted((CASES / "valid").glob("*.toml"))
INVALID = sorted((CASES / "invalid").glob("*.toml"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "speaker"
    folder.mkdir()
    for name in ("w.csv", "t.csv", "found.cir", "../w-above.csv"):
        (folder / name).write_text("")
    return folder


def read_case(folder: Path, case: Path) -> SpeakerFile:
    shutil.copy(case, folder / "speaker.toml")
    return read_speaker(folder)


def read_lines(folder: Path, *lines: str) -> SpeakerFile:
    (folder / "speaker.toml").write_text("\n".join(lines), encoding="utf-8")
    return read_speaker(folder)


def test_folders_are_not_empty() -> None:
    assert len(VALID) == 4
    assert len(INVALID) >= 60
    assert {p.name + ".expected" for p in INVALID} == {p.name for p in (CASES / "invalid").glob("*.expected")}


@pytest.mark.parametrize("case", INVALID, ids=lambda p: p.stem)
def test_invalid(folder: Path, case: Path) -> None:
    fragments = case.with_name(case.name + ".expected").read_text(encoding="utf-8").splitlines()
    assert fragments
    with pytest.raises(InputError) as caught:
        read_case(folder, case)
    text = str(caught.value)
    assert text.startswith(f"{folder / 'speaker.toml'}:")
    assert text.isprintable()
    for fragment in fragments:
        assert fragment in text


def test_whole_file(folder: Path) -> None:
    file = read_case(folder, CASES / "valid" / "whole.toml")
    assert file.path == folder / "speaker.toml"
    assert file.folder == folder.resolve()
    s = file.speaker
    assert (s.title, s.timing) == ("Invented three-way", "common")
    assert s.amplifier is not None
    assert (s.amplifier.minimum_load_ohm, s.amplifier.output_ohm) == (4.0, 0.05)
    assert (s.amplifier.rated_power_w, s.amplifier.rated_load_ohm, s.amplifier.bridged) == (60.0, 8.0, False)
    assert s.listening is not None
    assert (s.listening.level_db, s.listening.distance_m, s.listening.headroom_db) == (86.0, 2.5, 12.0)
    assert list(s.drivers) == ["woofer", "mid range", "Hochtöner"]
    woofer, middle, tweeter = s.drivers.values()
    assert (woofer.impedance, woofer.response, woofer.phase) == ("w.csv", "../w-above.csv", "measured")
    assert woofer.positions_mm == {"low1": (0.0, -300.0, 0.0), "low2": (0.0, -100.0, -2.5)}
    assert (woofer.position_mm, woofer.diameter_mm, woofer.re_ohm) == (None, 165.0, 5.6)
    assert (woofer.impedance_evidence, woofer.response_evidence) == (Evidence.MEASURED, Evidence.ASSUMED)
    assert (middle.phase, middle.position_mm, middle.datasheet) == ("minimum", (0.0, 0.0, 0.0), None)
    assert tweeter.datasheet is not None
    sheet = tweeter.datasheet
    assert (sheet.re_ohm, sheet.fs_hz, sheet.qms, sheet.qes) == (5.4, 1100.0, 2.2, 1.1)
    assert (sheet.le_mh, sheet.sensitivity_db) == (0.03, 92.0)
    assert {name: network.circuit for name, network in s.networks.items()} == {
        "found": "found.cir",
        "original": "found.cir",
    }
    assert s.bypass is not None
    assert (s.bypass.frequency_hz, s.bypass.slope) == ((400.0, 3000.0), "LR4")
    channel = s.bypass.channels["woofer"]
    assert (channel.minimum_load_ohm, channel.rated_power_w, channel.bridged, channel.output_ohm) == (
        4.0,
        50.0,
        True,
        None,
    )
    assert file.file("../w-above.csv") == folder.parent.resolve() / "w-above.csv"
    assert file.line("drivers", "woofer", "phase") == 20
    assert file.line("drivers", "woofer", "positions_mm", "low2") == 21
    assert file.line("drivers", "Hochtöner", "datasheet", "qes") == 36
    assert file.line("networks", "original") == 42
    assert file.line("nothing") is None


def test_what_is_not_said_is_none(folder: Path) -> None:
    s = read_case(folder, CASES / "valid" / "least.toml").speaker
    assert (s.title, s.timing, s.amplifier, s.listening, s.networks, s.bypass) == ("", "unknown", None, None, {}, None)
    woofer = s.drivers["woofer"]
    assert (woofer.response, woofer.phase, woofer.position_mm, woofer.positions_mm) == (None, None, None, None)
    assert (woofer.diameter_mm, woofer.re_ohm, woofer.datasheet) == (None, None, None)
    assert woofer.impedance_evidence is Evidence.MEASURED


def test_one_corner_frequency_and_dotted_keys(folder: Path) -> None:
    s = read_case(folder, CASES / "valid" / "one-corner.toml").speaker
    assert s.bypass is not None
    assert (s.bypass.frequency_hz, s.bypass.slope, s.bypass.channels) == ((3000.5,), "B3", {})


def test_what_the_curves_were_got_with(folder: Path) -> None:
    woofer, mid, tweeter = read_case(folder, CASES / "valid" / "instruments.toml").speaker.drivers.values()
    assert (woofer.instrument, woofer.impedance_instrument) == (Instrument.UNCALIBRATED, None)
    assert (woofer.response_instrument, mid.response_instrument) == (Instrument.PHONE, Instrument.DATASHEET)
    assert mid.datasheet is not None
    assert mid.datasheet.instrument == "placeholder"
    assert (tweeter.instrument, tweeter.datasheet, tweeter.re_ohm) == (None, None, 5.4)


def test_contents_cannot_be_changed(folder: Path) -> None:
    s = read_case(folder, CASES / "valid" / "least.toml").speaker
    with pytest.raises(ValidationError, match="frozen"):
        s.title = "other"


def test_folder_or_file(folder: Path) -> None:
    by_folder = read_case(folder, CASES / "valid" / "least.toml")
    assert read_speaker(folder / "speaker.toml") == by_folder
    (folder / "speaker.toml").rename(folder / "other.toml")
    assert read_speaker(str(folder / "other.toml")).speaker == by_folder.speaker


def test_missing_speaker_file(folder: Path) -> None:
    with pytest.raises(InputError, match=r"speaker\.toml: does not exist; start a speaker folder with 'xover new'"):
        read_speaker(folder)
    with pytest.raises(InputError, match="none: does not exist; check the name"):
        read_speaker(folder / "none")


def test_all_faults_are_kept(folder: Path) -> None:
    with pytest.raises(InputFaults) as caught:
        read_case(folder, CASES / "invalid" / "many.toml")
    faults = caught.value.faults
    assert [fault.line for fault in faults] == [1, 3, 4, 6, 7, 8, 8]
    assert all(fault.path == folder / "speaker.toml" for fault in faults)
    assert "names no driver" in " ".join(fault.problem for fault in faults)
    assert "lacks 'frequency_hz'" in " ".join(fault.problem for fault in faults)


def test_several_faults_in_one_line() -> None:
    one, two = InputError("first", "do this", line=4), InputError("second " + "x" * 80, "do that", line=2)
    assert combined([one]) is one
    both = combined([one, two]).at("a.toml", None)
    assert isinstance(both, InputFaults)
    assert str(both) == f"a.toml:2: second {'x' * 80}; do that (and 1 more: line 4: first)"
    assert [str(fault) for fault in both.faults] == [
        f"a.toml:2: second {'x' * 80}; do that",
        "a.toml:4: first; do this",
    ]
    assert str(combined([two] + 4 * [one])).endswith("do that (and 4 more: " + 3 * "line 4: first; " + "...)")
    long = InputError("y" * 90, "do so", line=5)
    assert str(combined([one, long])).endswith(f"do this (and 1 more: line 5: {'y' * 77}...)")


def test_absolute_path_below_the_parent_is_allowed(folder: Path) -> None:
    above = folder.parent / "w-above.csv"
    file = read_lines(folder, "[drivers.woofer]", f"impedance = '{above}'")
    assert file.file(str(above)) == above.resolve()


def test_links_are_followed(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "z.csv"
    elsewhere.write_text("")
    (folder / "out.csv").symlink_to(elsewhere)
    (folder / "in.csv").symlink_to("../w-above.csv")
    (folder / "loop.csv").symlink_to("loop.csv")
    assert (
        read_lines(folder, "[drivers.woofer]", 'impedance = "in.csv"').speaker.drivers["woofer"].impedance == "in.csv"
    )
    with pytest.raises(InputError, match=r":2: drivers\.woofer\.impedance names 'out\.csv', which lies outside of"):
        read_lines(folder, "[drivers.woofer]", 'impedance = "out.csv"')
    with pytest.raises(InputError, match=r":2: drivers\.woofer\.impedance names 'loop\.csv', which"):
        read_lines(folder, "[drivers.woofer]", 'impedance = "loop.csv"')


def test_speaker_folder_reached_through_a_link(folder: Path) -> None:
    (folder.parent / "link").symlink_to("speaker")
    read_lines(folder, "[drivers.woofer]", 'impedance = "w.csv"')
    assert read_speaker(folder.parent / "link").folder == folder.resolve()


def test_sibling_with_the_same_beginning_is_outside(folder: Path) -> None:
    # /x/parent-other is not below /x/parent, though the texts begin alike.
    other = folder.parent.with_name(folder.parent.name + "-other")
    other.mkdir()
    (other / "z.csv").write_text("")
    with pytest.raises(InputError, match="which lies outside of"):
        read_lines(folder, "[drivers.woofer]", f'impedance = "../../{other.name}/z.csv"')


def test_too_long_file_name(folder: Path) -> None:
    with pytest.raises(InputError, match="which cannot be reached: file name too long"):
        read_lines(folder, "[drivers.woofer]", f'impedance = "{"x" * 300}"')


def test_path_asked_for_later_is_checked_too(folder: Path) -> None:
    file = read_lines(folder, "[drivers.woofer]", 'impedance = "w.csv"')
    with pytest.raises(InputError, match=r"speaker\.toml: names '\.\./\.\./x', which lies outside of"):
        file.file("../../x")


def test_byte_order_mark_and_line_ends(folder: Path) -> None:
    (folder / "speaker.toml").write_bytes(b'\xef\xbb\xbf[drivers.woofer]\r\nimpedance = "w.csv"\r\nre_ohm = 0\r\n')
    with pytest.raises(InputError, match=r":3: drivers\.woofer\.re_ohm is 0; it must be at least 0.001"):
        read_speaker(folder)


WHOLE = (CASES / "valid" / "whole.toml").read_bytes()


@given(
    changes=st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), min_size=1, max_size=4),
    cut=st.integers(0, 2 * len(WHOLE)),
)
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_mangled_bytes_give_a_speaker_or_an_input_error(folder: Path, changes: list[tuple[int, int]], cut: int) -> None:
    data = bytearray(WHOLE)
    for at, byte in changes:
        data[at] = byte
    (folder / "speaker.toml").write_bytes(bytes(data[:cut]))
    check_only_input_errors(folder)


def check_only_input_errors(folder: Path) -> None:
    result: Speaker | InputError
    try:
        result = read_speaker(folder).speaker
    except InputError as error:
        result = error
    if isinstance(result, InputError):
        assert str(result).startswith(f"{folder / 'speaker.toml'}:")
        assert str(result).isprintable()
    else:
        assert len(result.drivers) >= 1


values = st.recursive(
    st.sampled_from(["1", "-1", "inf", "nan", "true", '"x"', "1979-05-27", "[]", "{}", '"w.csv"', "3000", '"LR4"']),
    lambda inner: st.lists(inner, max_size=3).map(lambda parts: "[" + ", ".join(parts) + "]"),
    max_leaves=4,
)
DRIVER_KEYS = ["impedance", "datasheet", "position_mm", "positions_mm.low", "x"]
TOP_KEYS = ["title", "timing", "amplifier", "drivers", "networks", "networks.n.circuit", "bypass", "bypass.channels"]
keys = st.sampled_from([*TOP_KEYS, "bypass.frequency_hz", *(f"drivers.a.{key}" for key in DRIVER_KEYS)])


@given(st.dictionaries(keys, values, max_size=5))
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_values_of_any_kind_give_a_speaker_or_an_input_error(folder: Path, entries: dict[str, str]) -> None:
    (folder / "speaker.toml").write_text("\n".join(f"{key} = {value}" for key, value in entries.items()))
    check_only_input_errors(folder)
