"""A name that no file can have, as what is asked about, is refused in one line."""

import pytest

NAME = "a" * 300


@pytest.mark.parametrize(
    "words",
    [
        *([command, NAME] for command in ("check", "predict", "schematic", "formula", "spice", "undo", "new")),
        *([command, f"{NAME}.toml"] for command in ("check", "schematic", "formula", "undo")),
        ["new", f"{NAME}/a", "--circuit", "two-way-second-order"],
        ["load", f"{NAME}/speaker.toml"],
        ["compare", NAME, f"{NAME}:found"],
        ["refresh", "SPEAKER", "--stock", NAME],
        ["refresh", "SPEAKER", "--write", NAME],
        ["schematic", "SPEAKER", "-o", f"{NAME}.svg"],
        ["infer", "SPEAKER", NAME],
        ["verify", "SPEAKER", "--impedance", NAME],
        ["delay", "SPEAKER", "--finished", f"{NAME}@woofer"],
        ["bypass", "SPEAKER", "--driver", f"woofer={NAME},{NAME}"],
    ],
    ids=lambda words: " ".join(word.replace(NAME, "LONG") for word in words),
)
def test_a_name_that_is_too_long(run, examples, words):
    done = run(*(examples / "hall-horn-two-way" if word == "SPEAKER" else word for word in words))
    assert (done.status, done.out) == (2, ""), done.err
    assert done.err.startswith("error: ")
    assert done.err.count("\n") == 1
