"""The methods of an opened folder: the same answers as the commands, and what if."""

import inspect
import io
import json
import shutil
import sys
from contextlib import redirect_stderr, redirect_stdout
from importlib import import_module
from types import SimpleNamespace

import numpy as np
import pytest

import xover
from xover.cli.main import main
from xover.speaker import Speaker

NAMES = ("attic-two-way", "left")


def asked(*arguments):
    out = io.StringIO()
    with redirect_stdout(out):
        assert main([str(a) for a in arguments]) == 0
    return json.loads(out.getvalue())


@pytest.mark.parametrize(
    ("command", "ask"),
    [
        (
            "predict LEFT --network original --output-ohm 1 --band 300..5k",
            lambda s: s.predict("original", output_ohm=1.0, band_hz=(300.0, 5000.0)),
        ),
        ("load LEFT --from 100 --to 1k", lambda s: s.load(frequency_hz=xover.log_grid(100.0, 1000.0, 48))),
        ("sensitivity LEFT", lambda s: s.sensitivity()),
        ("condition LEFT", lambda s: s.condition()),
        ("condition LEFT --assume --limit 2", lambda s: s.condition(assume=True, limit_db=2.0)),
        ("stress LEFT --power 40W@4 --crest 3", lambda s: s.stress(power_w=40.0, load_ohm=4.0, crest=3.0)),
        ("lamps LEFT --volts 2 --spectrum pink", lambda s: s.lamps(volts=[2.0], spectrum="pink")),
        ("tolerance LEFT --builds 200 --paired-to 2%", lambda s: s.tolerance(builds=200, match=0.02)),
        ("crosstalk LEFT --couple L1:L2=2%", lambda s: s.crosstalk(couples={("L1", "L2"): 0.02})),
        ("compare LEFT:found LEFT:original", lambda s: s.compare("found", "original")),
        (
            "compare LEFT:found LEFT:original --quantity impedance",
            lambda s: s.compare("found", "original", of="impedance"),
        ),
        ("pad LEFT tweeter --down 4", lambda s: s.pad("tweeter", down_db=4.0)),
        (
            "verify LEFT --network original --impedance LEFT/terminals-rebuilt.csv",
            lambda s: s.verify(s.folder / "terminals-rebuilt.csv", network="original"),
        ),
        (
            "infer LEFT --impedance LEFT/terminals-found.csv --prior usual --gain-error 2%",
            lambda s: s.infer(s.folder / "terminals-found.csv", prior="usual", gain_error=0.02),
        ),
    ],
)
def test_a_method_answers_as_its_command_does(speaker, command, ask):
    words = command.replace("LEFT", str(speaker.folder)).split()
    assert json.loads(xover.to_json(ask(speaker))) == asked(*words, "--json")


@pytest.mark.parametrize(
    ("study", "command", "ask"),
    [
        (
            "studies.change.refresh.study.refresh",
            "refresh LEFT --network original --renew all --capacitors any --within 0.3 --stock STOCK",
            lambda s, stock: s.refresh(
                found="original", replace="all", capacitors="any", tolerance_db=0.3, stock=stock
            ),
        ),
        ("studies.change.refresh.study.refresh", "refresh LEFT", lambda s, _: s.refresh()),
        (
            "studies.change.redesign.study.redesign",
            "redesign LEFT --network found --circuit present --slope none --crossover 2.7k --tilt -0.3 --band 300:15k "
            "--minimum-load 4 --most-parts 8 --most-cost 60 --largest-coil 3mH --starts 2 --seed 5 --stock STOCK",
            lambda s, stock: s.redesign(
                "found",
                circuits=["present"],
                slope=None,
                crossover_hz=[2700.0],
                tilt_db_per_octave=-0.3,
                band_hz=(300.0, 15e3),
                minimum_load_ohm=4.0,
                most_parts=8,
                most_cost=60.0,
                largest_coil_h=3e-3,
                starts=2,
                seed=5,
                stock=stock,
            ),
        ),
        ("studies.change.redesign.study.redesign", "redesign LEFT", lambda s, _: s.redesign()),
        (
            "studies.change.bypass.study.study_bypass",
            "bypass LEFT --network found --frequency 2.5k --slope B3 --sample-rate 96k --gain woofer=26dB",
            lambda s, _: s.bypass(
                "found", corners_hz=[2500.0], slope="B3", sample_rate_hz=96e3, amplifier_gain_db={"woofer": 26.0}
            ),
        ),
        (
            "studies.change.decide.study.study_decide",
            "decide LEFT --network original --reference found --skip redesign --take trim --mate LEFT "
            + "--most-cost 50 --seed 3 --stock STOCK",
            lambda s, stock: s.decide(
                found="original",
                original="found",
                skip=["redesign"],
                take="trim",
                mate=s.folder,
                most_cost=50.0,
                seed=3,
                stock=stock,
            ),
        ),
        ("studies.desk.spice.study.study_spice", "spice LEFT --loss-at 1k", lambda s, _: s.spice(loss_at_hz=1000.0)),
        ("studies.desk.check.study.study_check", "check LEFT", lambda s, _: s.check()),
        (
            "studies.aged.verify.pairing.explain_pair",
            "verify LEFT --impedance LEFT/terminals-found.csv --against LEFT/terminals-rebuilt.csv --band 30..10k",
            lambda s, _: s.pair(
                s.folder / "terminals-found.csv", s.folder / "terminals-rebuilt.csv", band_hz=(30.0, 10e3)
            ),
        ),
    ],
)
def test_a_long_study_is_asked_as_its_command_asks_it(speaker, examples, monkeypatch, study, command, ask):
    """The study itself is not run: both must hand it the same arguments."""
    module, _, name = f"xover.{study}".rpartition(".")
    signature = inspect.signature(getattr(import_module(module), name))
    given = []

    def note(*places, **names):
        bound = signature.bind(*places, **names)
        bound.apply_defaults()
        given.append({key: _comparable(value) for key, value in bound.arguments.items() if key != "progress"})
        raise xover.OptionError("noted", "go on")

    monkeypatch.setattr(f"{module}.{name}", note)
    stock = examples / "stock.csv"
    words = command.replace("LEFT", str(speaker.folder)).replace("STOCK", str(stock)).split()
    with redirect_stderr(io.StringIO()):
        assert main(words) == 2
    with pytest.raises(xover.OptionError, match="noted"):
        ask(speaker, stock)
    by_command, by_method = given
    # What is left out, each may fill in itself: the command or the study.
    usual = {"frequency_hz": _comparable(xover.log_grid(20.0, 20e3, 48)), "present": "found"}
    for key, value in usual.items():
        for one in given:
            if one.get(key, "") is None:
                one[key] = value
    assert by_command == by_method


def _comparable(value):
    if isinstance(value, Speaker):
        return value.file.path
    if isinstance(value, xover.Curve):
        return value.source, value.value.tolist()
    if isinstance(value, np.ndarray | list | tuple):
        return list(value)
    return value


def test_what_the_folder_holds(speaker):
    assert speaker.networks == ("found", "original")
    assert speaker.drivers == ("woofer", "tweeter")
    assert repr(speaker) == (
        "Loudspeaker: Attic two-way, left (invented); networks found, original; drivers woofer, tweeter"
    )
    assert speaker._repr_html_() == f"<p>{speaker!r}</p>"
    assert speaker.network("original").part("C2").farad == 4.7e-6


def test_hostile_names_are_text(examples, tmp_path):
    shutil.copytree(examples / NAMES[0], tmp_path / "attic")
    toml = tmp_path / "attic" / "left" / "speaker.toml"
    text = toml.read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if line.startswith("title"))
    toml.write_text(text.replace(line, "title = '<script>a\"&" + 150 * "x" + "'"), encoding="utf-8")
    opened = xover.open(toml)
    for shown in (repr(opened), repr(opened.predict()), repr(opened.speaker)):
        assert "<script>a" in shown
        assert all(c.isprintable() or c == "\n" for c in shown)
        assert len(shown) < 2500
    for page in (opened._repr_html_(), opened.predict()._repr_html_()):
        assert "<script" not in page
        assert "&lt;script&gt;a" in page


def test_what_if_is_what_a_board_with_these_parts_does(speaker, examples, tmp_path):
    """Against a netlist written by hand."""
    shutil.copytree(examples / NAMES[0], tmp_path / "attic")
    left = tmp_path / "attic" / "left"
    board = (left / "found.cir").read_text(encoding="utf-8")
    for old, new in (
        ("6.1uF  loss=3.0@1kHz,1.05@10kHz", "4.7uF esr=0.05 df=0.001@1kHz"),
        ("0.33mH dcr=0.38", "0.4mH dcr=0.5"),
        ("6.4    watts", "5.6 watts"),
    ):
        assert board.count(old) == 1
        board = board.replace(old, new)
    (left / "found.cir").write_text(board, encoding="utf-8")
    by_hand = xover.open(left).predict("found")
    tried = speaker.with_values("found", C2="4.7uF", C2_esr=0.05, C2_df=0.001, L2=0.4e-3, L2_dcr="0.5ohm", r1="5R6")
    assert tried.networks == ("found", "original", "trial")
    assert speaker.networks == ("found", "original")
    sound = tried.predict("trial")
    for key in ("woofer", "tweeter"):
        np.testing.assert_allclose(sound.drive[key], by_hand.drive[key], rtol=1e-12)
    assert np.abs(sound.drive["tweeter"] / speaker.predict("found").drive["tweeter"] - 1).max() > 0.05


def test_a_trial_may_be_tried_upon(speaker):
    one = speaker.with_values("found", C1="10uF", name="one")
    two = one.with_values("one", C2="5uF", name="two")
    assert two.networks == ("found", "original", "one", "two")
    assert (two.network("two").part("C1").farad, two.network("two").part("C2").farad) == (10e-6, 5e-6)
    assert two.compare("two", "one").worst_db != 0


def test_a_network_is_written_only_when_asked(examples, tmp_path):
    shutil.copytree(examples / NAMES[0], tmp_path / "attic")
    opened = xover.open(tmp_path / "attic" / "left")
    tried = opened.with_values("found", C1="10uF")
    assert not (opened.folder / "trial.cir").exists()
    again = tried.add_network("better", tried.network("trial"))
    assert again.networks == ("found", "original", "better")
    assert again.network("better").part("C1").farad == 10e-6
    assert xover.open(opened.folder).networks == ("found", "original", "better")
    with pytest.raises(xover.OptionError, match="has a network 'better' already"):
        again.add_network("better", tried.network("trial"))
    assert again.undo().networks == ("found", "original")
    assert not (opened.folder / "better.cir").exists()
    with pytest.raises(xover.OptionError, match="nothing to undo"):
        again.undo()


def test_a_folder_is_started(tmp_path):
    started = xover.new(tmp_path / "mine", "two-way-first-order")
    assert started.networks == ("found", "original")
    with pytest.raises(xover.OptionError, match="is there already"):
        xover.new(tmp_path / "mine", "two-way-first-order")


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda s: s.predict("fond"), "did you mean found"),
        (lambda s: s.predict(3), "a network is meant by its name"),
        (lambda s: s.predict(frequency_hz=[100.0]), "no rising frequencies"),
        (lambda s: s.predict(frequency_hz=[100.0, 50.0]), "no rising frequencies"),
        (lambda s: s.predict(frequency_hz=[1.0, np.nan]), "no rising frequencies"),
        (lambda s: s.predict(frequency_hz=[0.01, 5.0]), "from 0.1 to 1000000 Hz"),
        (lambda s: s.condition(limit_db=np.nan), "limit_db is nan; give a value above 0 dB"),
        (lambda s: s.stress(spectrum="white"), "give programme or pink"),
        (lambda s: s.compare("found", "original", of="drive"), "give sum or impedance"),
        (lambda s: s.compare("found", "orignal"), "did you mean original"),
        (lambda s: s.infer("x.csv", prior="some"), "did you mean none"),
        (lambda s: s.refresh(replace="wron"), "did you mean worn"),
        (lambda s: s.refresh(tolerance_db=0.0), "above 0"),
        (lambda s: s.redesign(slope="LR5"), "no crossover slope"),
        (lambda s: s.redesign(most_cost=3.0), "no prices to go by"),
        (lambda s: s.decide(skip=["redisign"]), "did you mean redesign"),
        (lambda s: s.decide(take="tirm"), "did you mean trim"),
        (lambda s: s.verify("x.csv", third_octaves=True), "has no response"),
        (lambda s: s.with_values("found", C9=1e-6), "no part C9"),
        (lambda s: s.with_values("found", name="found", C1=1e-6), "has a network 'found' already"),
    ],
)
def test_a_fault_is_one_line_with_its_remedy(speaker, ask, words):
    with pytest.raises(xover.OptionError, match=words) as fault:
        ask(speaker)
    assert "\n" not in str(fault.value)


def test_a_report_is_of_the_folder_as_it_is(speaker, monkeypatch):
    asked_for = {}
    page = SimpleNamespace(make_report=lambda folder, **options: asked_for.update(options, folder=folder))
    monkeypatch.setitem(sys.modules, "xover.report.report", page)
    speaker.report(networks=["found"], stock="stock.csv", seed=7)
    assert asked_for["folder"] == speaker.folder
    assert asked_for["networks"] == ("found",)
    assert (str(asked_for["stock"]), asked_for["seed"], asked_for["mate"]) == ("stock.csv", 7, None)
    assert not speaker.changed
    with pytest.raises(xover.OptionError, match="does not hold what is tried; write it"):
        speaker.with_values("found", C1="10uF").report()


def test_angles_are_those_of_the_drivers_places(speaker):
    """On the axis there is no difference; off it there is one, and a tweeter beams at 60 degrees."""
    study = speaker.angles("found", vertical_deg=[-15, 0, 15], horizontal_deg=[0, 60], distance_m=2.0)
    assert study.distance_m == 2.0
    assert np.nanmax(np.abs(study.vertical.relative_db[1])) == pytest.approx(0.0, abs=1e-9)
    assert np.nanmin(study.horizontal.relative_db[1]) < -3.0


def test_reading_a_table_is_told(speaker, tmp_path):
    """A table with a frequency twice is read, and the result says so."""
    lines = (speaker.folder / "terminals-rebuilt.csv").read_text(encoding="utf-8").splitlines()
    doubled = tmp_path / "twice.csv"
    doubled.write_text("\n".join([*lines, lines[-1]]) + "\n", encoding="utf-8")
    told = speaker.verify(doubled, network="original")
    assert [words for words in told.warnings if words.startswith("twice.csv: ")]
