"""How a word on the command line may go on, as the shells ask it."""

import os
import shutil
import subprocess
import sys

import pytest

from xover.amplifier.programme import Spectrum
from xover.cli.main import main
from xover.electronic.biquad import SLOPES
from xover.explain.unknowns import Prior
from xover.files.netlist import circuit_names
from xover.files.stock import CORES, QUANTITIES
from xover.parts.meter import MeterKind
from xover.parts.pad import ControlKind
from xover.parts.preferred import SERIES
from xover.search.builds import Distribution
from xover.studies import HOMES as COMMANDS
from xover.studies import first_sentence
from xover.studies.aged.compare.study import What
from xover.studies.change.decide import OPTIONS
from xover.studies.change.refresh.result import Policy

HOSTILE = [
    "$(reboot)",
    "`reboot`",
    "a;reboot",
    "a b",
    "a'b",
    'a"b',
    "a|b",
    "a&b",
    "a>b",
    "-rf",
    "a\nb",
    "a\\b",
    "a*",
    "~root",
    "a\u202eb",
    "x" * 100,
    "",
]
CODE = "from xover.cli.main import run; run()"


@pytest.fixture
def complete(monkeypatch, capsys):
    """What a shell is told when the tabulator is pressed at the end of a line."""

    def ask(line, shell="bash"):
        words = line.split(" ")
        monkeypatch.setenv("_XOVER_COMPLETE", f"complete_{shell}")
        monkeypatch.setenv("COMP_WORDS", line)
        monkeypatch.setenv("COMP_CWORD", str(len(words) - 1))
        monkeypatch.setenv("_TYPER_COMPLETE_ARGS", line)
        monkeypatch.setenv("_TYPER_COMPLETE_FISH_ACTION", "get-args")
        with pytest.raises(SystemExit) as stop:
            main([])
        assert stop.value.code == 0
        told = capsys.readouterr()
        assert told.err == ""
        return told.out.split("\n")[:-1] if told.out.strip() else []

    return ask


@pytest.fixture
def folder(tmp_path):
    def write(text):
        (tmp_path / "speaker.toml").write_text(text, encoding="utf-8")
        return tmp_path

    return write


def quoted(name):
    escaped = "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04x}" for c in name)
    return f'[networks."{escaped}"]\ncircuit = "a.cir"\n[drivers."{escaped}"]\n'


def test_commands_by_their_beginning(complete):
    assert complete("xover ") == list(COMMANDS)
    assert complete("xover re") == [name for name in COMMANDS if name.startswith("re")]
    assert complete("xover pred") == ["predict"]
    assert complete("xover --v") == ["--version"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_its_form(complete, shell):
    told = complete("xover pre", shell)
    words = first_sentence("predict")
    short = words[: words.index("the sum")] + "the..."
    assert (
        told
        == {
            "bash": ["predict"],
            "zsh": [f'_arguments \'*: :(("predict":"{short}"))\''],
            "fish": [f"predict\t{short}"],
        }[shell]
    )


def test_options(complete):
    assert complete("xover predict --per") == ["--per-octave"]
    assert {"--network", "--json", "--plot"} <= set(complete("xover predict --"))


def test_networks_of_the_folder_that_is_typed_already(complete, examples):
    for option in ("--network", "-n"):
        assert complete(f"xover predict {examples}/attic-two-way/left {option} ") == ["found", "original"]
    assert complete(f"xover load {examples}/hall-horn-two-way/speaker.toml --json --network=o") == ["original"]
    assert complete(f"xover condition {examples}/attic-two-way/left --found f") == ["found"]
    assert complete(f"xover formula {examples}/attic-two-way/left --latex -n f") == ["found"]
    assert complete(f"xover predict {examples}/attic-two-way/left --per-octave x -n f") == ["found"]
    assert complete("xover predict --network ") == []
    assert complete(f"xover predict {examples} --network ") == []


def test_drivers(complete, examples):
    assert complete(f"xover pad {examples}/studio-three-way ") == ["woofer", "mid", "tweeter"]
    assert complete(f"xover pad {examples}/studio-three-way t") == ["tweeter"]
    assert complete(f"xover jig a.wav --into {examples}/studio-three-way --driver m") == ["mid"]


def test_circuits(complete):
    assert complete("xover new --circuit ") == list(circuit_names())
    assert complete("xover redesign x --circuit pres") == ["present"]


@pytest.mark.parametrize(
    ("line", "known"),
    [
        ("bypass x --slope", SLOPES),
        ("redesign x --slope", ["none", *SLOPES]),
        ("refresh x --renew", Policy),
        ("refresh x --capacitors", ["film", "any"]),
        ("infer x --prior", Prior),
        ("tolerance x --distribution", Distribution),
        ("stress x --spectrum", Spectrum),
        ("lamps x --spectrum", Spectrum),
        ("decide x --skip", OPTIONS),
        ("compare x y --quantity", What),
        ("compare x y --unit", ["dB", "ohm"]),
        ("values 1uF --series", SERIES),
        ("values 1uF --kind", [*QUANTITIES, "coil"]),
        ("values 1uF --core", CORES),
        ("values 1uF --dielectric", ["film", "electrolytic"]),
        ("capacitor 1uF --meter", MeterKind),
        ("pad --control", ControlKind),
    ],
)
def test_words_of_a_fixed_list_are_those_that_the_study_knows(complete, line, known):
    assert sorted(complete(f"xover {line} ")) == sorted(str(word) for word in known)


def test_names_that_a_shell_would_act_on_are_not_offered(complete, folder):
    text = "".join(quoted(name) for name in [*HOSTILE, "found", "hochtön", "v1.2-b_c"])
    path = folder(text)
    for shell in ("bash", "zsh", "fish"):
        told = "\n".join(complete(f"xover predict {path} --network ", shell))
        assert sorted(told.replace('"', " ").replace("_arguments '*: :((", "").replace("))'", "").split()) == [
            "found",
            "hochtön",
            "v1.2-b_c",
        ]
    assert complete(f"xover pad {path} ") == ["found", "hochtön", "v1.2-b_c"]


@pytest.mark.parametrize(
    "text", ["networks = 3", "[networks", "networks = [1, 2]", "", "a = " + "[" * 5000, "[networks.found]\n" * 2]
)
def test_a_broken_file_offers_nothing_and_says_nothing(complete, folder, text):
    assert complete(f"xover predict {folder(text)} --network ") == []


def test_what_is_no_file_or_too_long_is_not_read(complete, folder):
    path = folder("[networks.found]\n" + "#" * 1_000_001)
    assert complete(f"xover predict {path} --network ") == []
    (path / "speaker.toml").unlink()
    os.mkfifo(path / "speaker.toml")  # whoever opens it for reading waits for ever
    assert complete(f"xover predict {path} --network ") == []


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash")
def test_bash_completes_once_it_is_installed(tmp_path, examples):
    command = tmp_path / "bin" / "xover"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -c "{CODE}" "$@"\n')
    command.chmod(0o755)
    script = tmp_path / "session.sh"
    script.write_text(
        "xover --install-completion >/dev/null\n"
        '. "$HOME/.bashrc"\n'
        "complete -p xover\n"
        f'COMP_WORDS=(xover predict "{examples}/attic-two-way/left" --network "")\n'
        "COMP_CWORD=4\n"
        "_xover_completion xover\n"
        'printf "%s\\n" "${COMPREPLY[@]}"\n'
        "xover --show-completion | grep -c _XOVER_COMPLETE=complete_bash\n"
    )
    search = f"{command.parent}:{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", str(script)], env={**os.environ, "HOME": str(tmp_path), "PATH": search}, capture_output=True, text=True
    )
    assert done.stderr == ""
    assert done.stdout.splitlines() == [
        "complete -o default -F _xover_completion xover",
        "found",
        "original",
        "1",
    ]
