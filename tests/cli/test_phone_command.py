"""xover phone as a user sees it: an invented speaker in an invented room, by tests/invented/rooms.py."""

import json

import numpy as np
import pytest
from invented import rooms

import xover

OTHER = 3.0
"""By this the tweeter's resistor is larger in 'rebuilt'."""


@pytest.fixture(scope="module")
def session():
    """All columns of a two-way, read 1 m from its tweeter by a phone that repeats well."""
    chance = np.random.default_rng(8)
    found = rooms.speaker(chance)
    rebuilt = (found[0], found[1].but(-1, OTHER))
    drivers = np.array([[0.5, 1.5, 0.8], [0.5, 1.5, 0.96]])
    room = rooms.Room(np.array([5.0, 4.0, 2.5]), 0.8, drivers, drivers[1] + [1.0, 0.0, 0.0], 12.0)
    quiet = np.full(rooms.CENTRE_HZ.size, 10.0)
    s = rooms.Session(chance, found, room, rooms.drawn_phone(chance, periodic=True, step_db=0.1, background_db=quiet))
    s.read("silence", None)
    s.read("found", found)
    s.read("again", found, s.moved(0.005))
    s.read("quieter", found, louder_db=-10.0)
    s.read("reversed", rooms.reverse(found, "tweeter"))
    s.read("woofer", rooms.alone(found, "woofer"))
    s.read("tweeter", rooms.alone(found, "tweeter"))
    s.read("right", (found[0].but(0, 1.3), found[1]), s.moved(0.005))
    s.read("rebuilt", rebuilt)
    return s


@pytest.fixture(scope="module")
def folder(session, tmp_path_factory):
    """Its folder, the table beside it."""
    path = tmp_path_factory.mktemp("phone") / "speaker"
    found = session.network
    rooms.write_folder(path, {"found": found, "rebuilt": (found[0], found[1].but(-1, OTHER))})
    return path


@pytest.fixture
def asked(run, folder, session):
    """Run the command on some columns of the table, its text changed."""

    def call(*options, columns=None, change=lambda text: text):
        text = change(session.text("1 m, tweeter axis", columns))
        (folder / "levels.csv").write_text(text, encoding="utf-8")
        return run("phone", folder, folder / "levels.csv", *options)

    return call


def words(done):
    """What was said on the screen, in one line."""
    return " ".join(done.out.split())


def test_one_screen_says_it_all(asked):
    done = asked("--strict")
    assert done.status == 0, done.out + done.err
    assert done.err == ""
    lines = done.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 40
    said = words(done)
    assert "From found to rebuilt: changed in the octaves of 2 kHz, 8 kHz and 16 kHz (most: -" in said
    assert "NOT as predicted" not in said
    assert "Woofer and tweeter are wired as drawn: normal is" in said
    assert "Tweeter against woofer is" in said
    assert "The four columns fit each other." in said
    assert said.count("never correct a treble") == 1
    more = asked("--all")
    assert "no automatic gain: 10 dB less reads as 10.0 dB less" in words(more)
    assert "LR4 +17.6; LR2 -23.6; Butterworth 1 +0.0; Butterworth 3 +0.0" in words(more)


def test_json_and_python_tell_the_same(asked, folder):
    told = json.loads(asked("--json").out)
    study = xover.open(folder).phone(folder / "levels.csv")
    assert told["headline"] == study.headline
    assert (told["sound"], told["automatic"], told["slips"]) == (True, False, [])
    (change,) = told["changes"]
    assert (change["first"], change["second"]) == ("found", "rebuilt")
    np.testing.assert_allclose(change["change_db"], study.changes[0].change_db)
    assert {o["held"] for o in change["octaves"]} == {"agrees", "not known"}
    assert told["polarity"][0]["wired"] == "as drawn"
    assert len(told["sums"]["mean_cosine"]) == len(told["band_hz"])
    assert told["balance"][0]["within_db"] >= 5.0
    assert told["textbook_db"]["LR4"] == pytest.approx(17.6, abs=0.05)


def test_a_change_that_was_not_predicted(asked):
    def swap(text):
        return text.replace("rebuilt", "x").replace("found", "rebuilt").replace("x", "found")

    done = asked("--strict", columns=["silence", "found", "again", "rebuilt"], change=swap)
    assert done.status == 1
    assert "NOT as predicted at" in words(done)


def louder(session, column, db):
    """The same columns, one of them louder."""
    return {**session.level_db, column: session.level_db[column] + db}


def test_the_volume_was_turned(asked, session, monkeypatch):
    monkeypatch.setattr(session, "level_db", louder(session, "rebuilt", 3.0))
    done = asked("--strict", columns=["silence", "found", "again", "rebuilt"])
    assert done.status == 1
    assert "as predicted, but all lies +3.0 dB off: was the volume turned?" in words(done)


def test_four_columns_that_do_not_belong_together(asked, session, monkeypatch):
    monkeypatch.setattr(session, "level_db", louder(session, "woofer", 4.0))
    done = asked("--strict", columns=["silence", "found", "again", "reversed", "woofer", "tweeter"])
    assert done.status == 1
    assert "The four columns do not fit each other in" in words(done)
    assert "typing error" not in words(done)


def test_wires_of_one_driver_swapped(asked):
    done = asked(
        "--strict",
        columns=["silence", "found", "reversed"],
        change=lambda text: text.replace("found, reversed", "again, found").replace("again", "reversed"),
    )
    assert done.status == 1
    assert "one of woofer and tweeter is turned round against the netlist" in words(done).lower()
    # Nobody says where the phone stood: at some places the drivers meet the other way round.
    lost = asked(columns=["found", "reversed"], change=lambda t: t.replace("; place 1 m, tweeter axis", ""))
    assert "either sign by the place of the phone" in words(lost)
    assert "say where the phone stood, such as '# place 1 m, tweeter axis'" in words(lost)


def test_of_three_drivers_it_must_say_which_was_turned(run, tmp_path):
    chance = np.random.default_rng(5)
    found = rooms.speaker(chance, 3)
    room = rooms.Room.drawn(chance, 3)
    session = rooms.Session(chance, found, room, rooms.drawn_phone(chance))
    session.read("found", found)
    session.read("reversed", rooms.reverse(found, "tweeter"))
    rooms.write_folder(tmp_path, {"found": found}, float(room.drivers_m[1, 2] - room.drivers_m[0, 2]))
    text = session.text("1 m, tweeter axis")

    def polarity(text):
        (tmp_path / "levels.csv").write_text(text, encoding="utf-8")
        return run("phone", tmp_path, tmp_path / "levels.csv", "--json")

    unsaid = json.loads(polarity(text).out)["polarity"]
    assert {p["wired"] for p in unsaid} == {"cannot tell"}
    assert "which" in {p["why"] for p in unsaid}
    said = json.loads(polarity(text.replace("; place", "; reversed tweeter; place")).out)["polarity"]
    assert [p["upper"] for p in said] == [["tweeter"]]
    wrong = polarity(text.replace("; place", "; reversed horn; place"))
    assert (wrong.status, wrong.err.count("\n")) == (2, 1)
    assert "says that 'horn' was reversed, which is no driver of this network" in wrong.err


def test_a_typing_error_is_found_by_its_line(asked, session):
    row = int(np.flatnonzero(rooms.NOMINAL_HZ == 2000)[0])
    level = f"{session.level_db['woofer'][row]:.1f}"

    def mistype(text):
        lines = text.splitlines()
        cells = lines[row + 2].split(", ")
        place = lines[1].split(", ").index("woofer")
        assert cells[place] == level
        cells[place] = f"{float(level) + 3.0:.1f}"
        lines[row + 2] = ", ".join(cells)
        return "\n".join(lines) + "\n"

    done = asked("--strict", change=mistype)
    assert done.status == 1
    assert f"Look for a typing error in line {row + 3} (2 kHz, -" in words(done)
    assert words(done).split("left out of what follows")[0].endswith("found or reversed or woofer or tweeter: ")


def test_automatic_gain_silences_all_else(asked, session, monkeypatch):
    monkeypatch.setattr(session, "level_db", louder(session, "quieter", 4.0))
    done = asked("--strict")
    told = json.loads(asked("--json").out)
    assert done.status == 1
    assert "The phone sets its gain by itself (automatic gain): 10 dB less at the amplifier reads as 6.0 dB" in words(
        done
    )
    assert "No other verdict is told." in words(done)
    assert "octave" not in done.out
    assert (told["automatic"], told["changes"], told["polarity"], told["sums"]) == (True, [], [], None)


def test_nothing_to_hold_it_against(asked):
    done = asked("--strict", columns=["found"])
    assert done.status == 0
    assert "Nothing here is held against anything: no verdict." in words(done)
    assert "another network of the folder" in words(done)
    told = json.loads(asked("--json", columns=["found"]).out)
    assert told["next"][:4] == ["network", "quieter", "silence", "again"]


def test_left_against_right(asked, folder, session):
    done = asked(columns=["silence", "found", "again", "right"])
    assert "From found to right: changed in the octaves of" in words(done)
    mate = folder / "mate.csv"
    for place, elsewhere in (("1 m, tweeter axis", False), ("on a chair", True)):
        text = session.text(place, ["silence", "right"]).replace("right", "found")
        mate.write_text(text, encoding="utf-8")
        done = asked("--right", mate, "--json", columns=["silence", "found", "again"])
        sides = json.loads(done.out)["sides"]
        assert (sides["first"], sides["second"], sides["elsewhere"]) == ("levels.csv", "mate.csv", elsewhere)
        # Schroeder's scatter of two places, +-, at 1 kHz and 0.4 s: 2 sqrt 2 x 5.57/sqrt(1 + 0.238 x 231 x 0.4)
        wide = 2.0 * np.sqrt(2.0) * 5.57 / np.sqrt(1.0 + 0.238 * 230.77 * 0.4)
        row = int(np.flatnonzero(rooms.NOMINAL_HZ == 1000)[0])
        assert sides["within_db"][row] == pytest.approx(wide, abs=0.2) if elsewhere else sides["within_db"][row] < 0.8


def test_levels_between_drivers(asked, session, monkeypatch):
    monkeypatch.setattr(session, "level_db", {**session.level_db, "known": np.full(rooms.CENTRE_HZ.size, 60.0)})
    columns = ["found", "woofer", "tweeter"]
    told = [json.loads(asked("--json", columns=c).out)["balance"][0] for c in (columns, [*columns, "known"])]
    assert told[0]["louder_db"] == pytest.approx(told[1]["louder_db"])
    assert told[0]["within_db"] - told[1]["within_db"] == pytest.approx(4.0)
    assert (told[0]["driver"], told[0]["against"]) == ("tweeter", "woofer")


def test_a_state_that_the_folder_does_not_hold(asked):
    done = asked(columns=["found", "rebuilt"], change=lambda text: text.replace("rebuilt", "dim"))
    assert "no prediction dim: no network and no driver of this folder" in words(done)
    assert "as predicted" not in words(done)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda t: t.replace("woofer", "wofer"), "levels.csv:2: the column 'wofer' is no network and no driver of"),
        (lambda t: t.replace("found", "dim"), "levels.csv:2: the column 'reversed' belongs to no other"),
        (lambda t: t.replace("1000,", "1001,"), "levels.csv:17: 1001 is no third octave of ISO 266; write 1000"),
    ],
)
def test_refused_in_one_line(asked, change, said):
    done = asked(columns=["silence", "found", "reversed", "woofer"], change=change)
    assert (done.status, done.out) == (2, "")
    assert said in done.err
    assert done.err.count("\n") == 1


def test_a_folder_without_timing(asked, folder):
    toml = (folder / "speaker.toml").read_text(encoding="utf-8")
    (folder / "speaker.toml").write_text(toml.replace("position_mm", "# position_mm"), encoding="utf-8")
    try:
        done = asked(columns=["found", "reversed"])
    finally:
        (folder / "speaker.toml").write_text(toml, encoding="utf-8")
    assert "nothing is predicted, the folder lacks common timing, position_mm or data of its drivers" in words(done)


def test_a_template_predicts_nothing(run, tmp_path, session):
    assert run("new", tmp_path / "mine").status == 0
    text = session.text("1 m, tweeter axis", ["found", "reversed", "rebuilt", "woofer", "tweeter"])
    (tmp_path / "levels.csv").write_text(text.replace("rebuilt", "original"), encoding="utf-8")
    done = run("phone", tmp_path / "mine", tmp_path / "levels.csv", "--json")
    told = json.loads(done.out)
    assert told["polarity"]
    assert told["balance"]
    assert {o["held"] for o in told["changes"][0]["octaves"]} == {"not known"}
    assert {p["why"] for p in told["polarity"]} == {"untimed"}
    assert [b["over_predicted_db"] for b in told["balance"]] == [None]
