"""The other commands on the same invented folders: what they say of a case that decide has an answer for."""

import shlex
from dataclasses import replace

from advice_run import command
from speakers import SHELF, TURNED, TWINS, from_datasheets


def words(*arguments):
    return " ".join(command(*arguments).split())


def in_series(**woofer2):
    """The column's woofers in series, the second as given."""
    folder = TWINS.marked(Xlow="w y woofer", Xlow2="y 0 woofer2").driver("woofer", re_ohm=2.9, le_mh=0.275)
    return folder.driver("woofer2", re_ohm=2.9, le_mh=0.275, **woofer2)


def test_check_blames_no_capacitor_beside_a_shorted_woofer(tmp_path):
    told = words("check", in_series(dead="shorted").write(tmp_path))
    assert "woofer2 is shorted" in told
    assert "no path for DC" not in told
    assert "woofer+woofer2 and tweeter have no measured band in common" in told
    blocked = SHELF.marked(C9="w x 100uF", Xlow="x 0 woofer")
    assert "no path for DC" in words("check", replace(blocked, name="blocked").write(tmp_path))


def test_polarity_against_the_sum_is_a_note_only_where_no_response_was_swept(tmp_path):
    wired = SHELF.marked(Xhigh="0 p tweeter")
    swept, sheets = replace(wired, name="swept"), replace(from_datasheets(wired), name="sheets")
    for folder, graver in ((swept, True), (sheets, False)):
        told = words("check", folder.write(tmp_path))
        assert (told.index("add up better with one of them reversed") < told.index(" Notes ")) == graver


def test_bypass_names_the_dead_driver_and_compares_it_with_nothing(tmp_path):
    told = words("bypass", in_series(dead="shorted").write(tmp_path))
    assert told.count("woofer2 is shorted") == 1
    assert "does not match" not in told


def test_bypass_says_of_which_network_the_old_sum_is(tmp_path):
    told = words("bypass", TURNED.write(tmp_path))
    assert "network 'original' gives +-" in told


def test_the_command_to_try_next_is_quoted_for_a_shell(tmp_path):
    folder = replace(TURNED, name="left of two").write(tmp_path)
    told = words("decide", folder, "--take", "mend", "--write", "mended")
    tried = told[told.rindex("xover predict") :]
    assert shlex.split(tried) == ["xover", "predict", str(folder), "--network", "mended"]


def test_condition_reads_a_board_drawn_anew_part_by_part(tmp_path):
    anew = {"L1": None, "La": "n1 in 0.68mH dcr=0.3 core=air", "C1": None, "Ca": "n1 0 7uF kind=electrolytic volts=100"}
    told = words("condition", SHELF.found(**anew, Xlow="n1 0 woofer").write(tmp_path))
    assert "Ca electrolytic 10 uF 7 uF -30 %" in told
    assert "missing now" not in told
