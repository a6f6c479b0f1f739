"""Tables through a whole command: what is refused with its line, what is read, and what is said of it."""

import json

import numpy as np
import pytest


def rows_of(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    first = next(i for i, line in enumerate(lines) if line[0].isdigit())
    return lines[:first], lines[first:]


@pytest.mark.parametrize("command", ["predict", "check", "load"])
def test_a_row_behind_a_letter_stops_every_command(run, attic, command):
    path = attic / "woofer-impedance.csv"
    head, rows = rows_of(path)
    rows[100:130] = ["x" + row for row in rows[100:130]]
    path.write_text("\n".join([*head, *rows]), encoding="utf-8")
    ran = run(command, attic)
    assert (ran.status, ran.out) == (2, "")
    assert f"woofer-impedance.csv:{len(head) + 101}: 'x" in ran.err
    assert ran.err.count("\n") == 1


@pytest.mark.parametrize("given", ["impedance", "response"])
def test_predict_refuses_the_one_in_the_place_of_the_other(run, attic, given):
    other = "response" if given == "impedance" else "impedance"
    _, rows = rows_of(attic / f"woofer-{other}.csv")
    (attic / f"woofer-{given}.csv").write_text("\n".join(rows), encoding="utf-8")
    ran = run("predict", attic)
    assert (ran.status, ran.out) == (2, "")
    assert f"woofer-{given}.csv: the values, from " in ran.err
    assert "check that the right file is named" in ran.err
    assert ran.err.count("\n") == 1


def test_predict_reads_falling_quoted_parts_as_it_reads_the_table(run, attic):
    plain = json.loads(run("predict", attic, "--json").out)
    path = attic / "woofer-impedance.csv"
    _, rows = rows_of(path)
    made = []
    for row in rows[::-1]:
        f, size, phase = (float(x) for x in row.split(","))
        z = size * np.exp(1j * np.radians(phase))
        made.append(f'"{f}","{z.real:.15g}","{z.imag:.15g}"')
    path.write_text("\n".join(["2nd run", '"Hz","Re (ohm)","Im (ohm)"', *made]), encoding="utf-8")
    again = json.loads(run("predict", attic, "--json").out)
    for name, drive in plain["drive"].items():
        np.testing.assert_allclose(again["drive"][name]["magnitude_db"], drive["magnitude_db"], atol=1e-6)
    assert "were turned round" in run("check", attic, "--all").out
