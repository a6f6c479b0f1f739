"""No word of a file beside the speaker folder, and no name of one, stands in any output."""

import pytest

CANARIES = ("quetzal", "marimba", "0x7a69", "tiramisu")
ROWS = "".join(f"{f} {8 + f / 1e4} 0\n" for f in (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000))
BESIDE = {
    "prose": "Quetzal the marimba, 0x7A69\nand tiramisu\n" * 20,
    "settings": "[quetzal]\nmarimba = '0x7a69'\ntiramisu = 3\n" * 3,
    "numbers": "".join(f"{n} quetzal{n} {n}\n" for n in range(20, 40)),
    "a row": ROWS + "30000 marimba 0\n",
    "a comment among rows": ROWS[:60] + "# quetzal 'marimba' 0x7a69\n" + ROWS[60:],
    "words among rows": ROWS[:60].rpartition("\n")[0] + "\nquetzal marimba it's\n" + ROWS[60:].partition("\n")[2],
    "headings": "Hz,quetzal,marimba,tiramisu\n" + ROWS.replace(" ", ",").replace("0\n", "0,1\n"),
    "three headings": "Hz,quetzal it's,marimba\n" + ROWS.replace(" ", ","),
    "touchstone": "! quetzal\n# Hz Z RI R quetzal\n[marimba] tiramisu\n",
    "netlist": "* quetzal\nL1 in w marimba\nXtiramisu w 0 quetzal\n",
    "another driver": "* board\nL1 in w 1mH\nXmarimba w 0 quetzal\n.end\n",
    "two parts of a name": "* board\nLmarimba in w 1mH\nLmarimba w 0 1mH\nXlow w 0 woofer\n",
    "binary": "quetzal\0marimba",
}
TOML = """
[drivers.woofer]
re_ohm = 6
{driver}
[networks.found]
circuit = "{circuit}"
"""
CARDS = "* board\nL1 in w 1mH\nXlow w 0 woofer\n.end\n"


def told(run, *words):
    done = run(*words)
    assert done.status in (0, 1, 2)
    return (done.out + done.err).lower()


@pytest.fixture
def sent(tmp_path):
    (tmp_path / "mine" / "sent").mkdir(parents=True)
    (tmp_path / "mine" / "sent" / "found.cir").write_text(CARDS)
    return tmp_path / "mine" / "sent"


@pytest.mark.parametrize("kind", ["impedance", "response", "circuit"])
@pytest.mark.parametrize("name", BESIDE)
def test_a_canary_beside_the_folder(run, sent, name, kind):
    (sent.parent / "diary.txt").write_text(BESIDE[name])
    driver = f'{kind} = "../diary.txt"' if kind != "circuit" else ""
    circuit = "../diary.txt" if kind == "circuit" else "found.cir"
    (sent / "speaker.toml").write_text(TOML.format(driver=driver, circuit=circuit))
    for command in (["check", "--all"], ["check", "--json"], ["predict", "--all"]):
        said = told(run, command[0], sent, *command[1:])
        assert [canary for canary in CANARIES if canary in said] == []


@pytest.mark.parametrize("kind", ["impedance", "response", "circuit"])
def test_what_lies_in_the_folder_is_quoted(run, sent, kind):
    """So that the test above can fail."""
    (sent / "diary.txt").write_text(BESIDE["netlist" if kind == "circuit" else "a row"])
    driver = f'{kind} = "diary.txt"' if kind != "circuit" else ""
    circuit = "diary.txt" if kind == "circuit" else "found.cir"
    (sent / "speaker.toml").write_text(TOML.format(driver=driver, circuit=circuit))
    assert "marimba" in told(run, "check", sent)


def test_names_are_offered_from_the_folder_alone(run, sent):
    (sent.parent / "quetzal.csv").write_text("x")
    (sent / "found2.cir").write_text(CARDS)
    (sent / "speaker.toml").write_text(TOML.format(driver='impedance = "../quetzel.csv"', circuit="found3.cir"))
    said = told(run, "check", sent)
    assert "quetzal" not in said
    assert "names '../quetzel.csv', which does not exist; put the file there or correct the name" in said
    (sent / "speaker.toml").write_text(TOML.format(driver="", circuit="found3.cir"))
    assert "did you mean 'found" in told(run, "check", sent)


@pytest.mark.parametrize("place", ["../.netrc", ".netrc", "../.ssh/key", ".git/config", "link.csv"])
def test_hidden_files_are_not_read_and_not_offered(run, sent, place):
    for folder in (sent.parent / ".ssh", sent / ".git"):
        folder.mkdir()
    for name in (".netrc", ".ssh/key", "sent/.netrc", "sent/.git/config"):
        (sent.parent / name).write_text(BESIDE["prose"])
    (sent / "link.csv").symlink_to("../.netrc")
    (sent / "speaker.toml").write_text(TOML.format(driver=f'impedance = "{place}"', circuit="found.cir"))
    said = told(run, "check", sent)
    assert f"names '{place}', which is hidden and so not read; name a file that is not" in said
    assert [canary for canary in CANARIES if canary in said] == []
    (sent / "speaker.toml").write_text(TOML.format(driver='impedance = "netrc"', circuit="found.cir"))
    assert "did you mean" not in told(run, "check", sent)
