"""xover values as a user sees it."""

import json

import pytest

LIST = """kind,value,tolerance,price,watts,volts,core,maker_code,quantity
film,4.7uF,5%,5.10,,250,,film A,3
film,4.7uF,5%,4.10,,250,,film B,1
film,5.1uF,2%,,,,,film unrated,
electrolytic,10uF,10%,1.20,,100,,,
R,8.2,5%,0.50,5,,,,
"""


@pytest.fixture
def stock(tmp_path):
    path = tmp_path / "bin.csv"
    path.write_text(LIST)
    return path


def words(text):
    return " ".join(text.split())


def test_json_by_contract(run):
    done = run("values", "4.73uF", "--json")
    assert (done.status, done.err) == (0, "")
    result = json.loads(done.out)
    assert {"target", "series", "nearest", "pairs"} <= result.keys()
    assert result["target"] == 4.73e-6
    assert result["series"] == "E12"
    assert result["nearest"]["value"] == 4.7e-6
    assert result["nearest"]["error"] == pytest.approx(-0.00634249, abs=1e-8)
    first = result["pairs"][0]
    # 0.82 + 3.9 = 4.72
    assert (first["values"], first["how"]) == ([0.82e-6, 3.9e-6], "parallel")
    assert first["value"] == pytest.approx(4.72e-6, rel=1e-12)
    assert first["error"] == pytest.approx(-0.00211416, abs=1e-8)
    assert len(result["pairs"]) == 5
    assert [abs(p["error"]) for p in result["pairs"]] == sorted(abs(p["error"]) for p in result["pairs"])


@pytest.mark.parametrize(
    ("arguments", "kind", "target", "nearest"),
    [
        (["4R8"], "resistor", 4.8, 4.7),
        (["6.4 ohm", "--series", "e24"], "resistor", 6.4, 6.2),
        (["1,75mH"], "inductor", 1.75e-3, 1.8e-3),
        (["4u8", "--kind", "coil"], "inductor", 4.8e-6, 4.7e-6),
        (["4.8u", "--kind", "capacitor"], "capacitor", 4.8e-6, 4.7e-6),
        (["2.72", "--kind", "resistor", "--series", "E6"], "resistor", 2.72, 3.3),
        (["9.09uF", "--series", "E96"], "capacitor", 9.09e-6, 9.09e-6),
    ],
)
def test_kind_from_the_unit(run, arguments, kind, target, nearest):
    result = json.loads(run("values", *arguments, "--json").out)
    assert (result["kind"], result["target"], result["nearest"]["value"]) == (kind, target, nearest)


def test_page_for_people(run):
    done = run("values", "4.73uF", "--pairs", "--tolerance", "5%")
    assert done.status == 0
    assert max(map(len, done.out.splitlines())) <= 80
    rows = [line.split() for line in done.out.splitlines()]
    # 4.7 * 0.95 / 4.73 = 0.944, 4.7 * 1.05 / 4.73 = 1.0433
    assert ["below", "4.7", "uF", "-0.63", "-5.6", "+4.3"] in rows
    assert ["above", "5.6", "uF", "+18.39", "+12.5", "+24.3"] in rows
    # shares 0.1737 and 0.8263: 5 % * 0.8443 = 4.2 %
    assert ["0.82", "uF", "+", "3.9", "uF", "parallel", "4.72", "uF", "-0.21", "-5.2", "+4.8", "4.2"] in rows
    # 15 / 21.8 of the voltage on the 6.8 uF
    assert next(row for row in rows if row[:5] == ["6.8", "uF", "+", "15", "uF"])[-1] == "69/31"
    assert "leakage" in done.out
    assert "Two together" not in run("values", "4.73uF").out


def test_uncoupled_coils_and_shared_power(run):
    assert "not coupled" in run("values", "1.9mH", "--pairs").out
    rows = [line.split() for line in run("values", "8.9ohm", "--pairs").out.splitlines()]
    # 8.2 + 0.68: 0.077 and 0.923 of the power
    assert next(row for row in rows if row[:5] == ["0.68", "ohm", "+", "8.2", "ohm"])[-1] == "8/92"


def test_limit(run):
    met = run("values", "4.73uF", "--max-error", "1%", "--strict")
    assert met.status == 0
    assert "4.7 uF (-0.63 %) is within 1 %" in words(met.err)
    missed = run("values", "4.73uF", "--max-error", "0.5%", "--strict")
    assert missed.status == 1
    assert "no single value of E12 is within 0.5 %, the nearest is 4.7 uF (-0.63 %)" in words(missed.err)
    assert "the pair 0.82 uF + 3.9 uF in parallel (-0.21 %) is: ask for pairs" in words(missed.err)
    assert run("values", "4.73uF", "--max-error", "0.5%").status == 0
    assert run("values", "4.73uF", "--max-error", "0.5%", "--strict", "--pairs").status == 0
    neither = run("values", "4.73uF", "--series", "E6", "--max-error", "0.1%", "--strict", "--pairs", "--json")
    assert neither.status == 1
    result = json.loads(neither.out)
    assert result["met"] is False
    assert "no pair either, the nearest is 0.068 uF + 4.7 uF in parallel (+0.8 %)" in result["notes"][0]


def test_limit_met_to_the_last_bit(run):
    """10 ohm for 8 ohm is 25 % off exactly."""
    assert run("values", "8ohm", "--series", "E3", "--max-error", "25%", "--strict").status == 0
    assert run("values", "8ohm", "--series", "E3", "--max-error", "24.9%", "--strict").status == 1


def test_list_alone_is_the_source(run, stock):
    result = json.loads(run("values", "5uF", "--stock", stock, "--json").out)
    assert result["series"] is None
    assert result["nearest"]["value"] == 5.1e-6
    assert result["nearest"]["item"]["line"] == 4
    assert {v for pair in result["pairs"] for v in pair["values"]} <= {4.7e-6, 5.1e-6, 10e-6}
    rated = json.loads(run("values", "5uF", "--stock", stock, "--volts", "100", "--json").out)
    # Film B is cheaper than film A.
    assert (rated["nearest"]["value"], rated["nearest"]["item"]["line"]) == (4.7e-6, 3)
    assert rated["nearest"]["tolerance"] == 0.05
    assert "left out: 5.1 uF on line 4: its voltage rating is not stated" in rated["notes"][0]


def test_pieces_at_hand(run, stock):
    two = json.loads(run("values", "4.7uF", "--stock", stock, "--needed", "2", "--json").out)
    assert two["nearest"]["item"]["line"] == 2
    films = ["values", "4.7uF", "--stock", stock, "--dielectric", "film", "--json", "--needed"]
    four = json.loads(run(*films, "4").out)
    assert four["nearest"]["value"] == 5.1e-6
    assert "4.7 uF on line 2, of which 3 are at hand and 4 wanted" in four["notes"][0]

    def doubled(needed):
        """Lines of the pair of two 4.7 uF, if it is offered."""
        answer = json.loads(run("values", "9.4uF", "--stock", stock, "--needed", needed, "--json").out)
        pairs = [p for p in answer["pairs"] if p["values"] == [4.7e-6, 4.7e-6] and p["how"] == "parallel"]
        return [(sorted(item["line"] for item in p["items"]), p["price"]) for p in pairs]

    # One of film B and one of film A; for two speakers three of film A are too few for a pair each.
    assert doubled("1") == [([2, 3], pytest.approx(9.2))]
    assert doubled("2") == []


def test_list_for_people(run, examples):
    done = run("values", "13uF", "--stock", examples / "stock.csv", "--pairs", "--needed", "2", "--volts", "250")
    assert done.status == 0
    assert max(len(line) for line in done.out.splitlines() if "stock.csv" not in line) <= 80
    rows = [line.split() for line in done.out.splitlines()]
    below = next(row for row in rows if row[:1] == ["below"])
    assert below[1:4] == ["12", "uF", "-7.69"]
    assert "nearest is film 12uF 250V" in words(done.out)
    assert "Asked for: 2 of each, 250 V or more" in words(done.out)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["4.73"], "'4.73' has no unit of a part; add it, as in 4.73uF, 1.8mH or 6.8ohm, or give --kind"),
        (["4u7"], "has no unit of a part"),
        (["3kHz"], "has no unit of a part"),
        (["10MFD"], "write 10uF"),
        (["4.7F"], "write 4.7uF"),
        (["4.7mH", "--kind", "capacitor"], "is an inductance where a capacitance belongs"),
        (["4.7", "--kind", "capacitor"], "write 4.7uF"),
        (["4.7uF", "--kind", "resistro"], "did you mean resistor?"),
        (["0ohm"], "give one from 0.001 ohm to 100 kohm"),
        (["1e999ohm"], "too large"),
        (["4.7uF", "--series", "E13"], "did you mean E12?"),
        (["4.7uF", "--tolerance", "5"], "--tolerance is 5; give 0% to 99%"),
        (["4.7uF", "--max-error", "-1%"], "--max-error is -1%"),
        (["4.7uF", "--max-error", "x"], "--max-error: 'x' is not a number"),
        (["4.7uF", "--most", "0"], "--most is 0; give 1 to 50"),
        (["4.7uF", "--needed", "2"], "ask a list; name it by --stock"),
        (["4.7uF", "--stock", "{stock}", "--needed", "0"], "--needed is 0"),
        (["4.7uF", "--stock", "{stock}", "--series", "E12"], "exclude each other"),
        (["4.7uF", "--stock", "{stock}", "--core", "air"], "--core does not belong to this kind of part"),
        (["4.7uF", "--stock", "{stock}", "--dielectric", "flim"], "did you mean film?"),
        (["4.7uF", "--stock", "{stock}", "--volts", "0"], "--volts is 0; give a value above 0 V"),
        (["4.7uF", "--stock", "{stock}", "--volts", "5W"], "--volts: '5W' is a power"),
        (["4.7uF", "--stock", "{stock}", "--volts", "400"], "nearest value is 4.7 uF on line 2: it is for 250 V"),
        (["1mH", "--stock", "{stock}"], "bin.csv: the list holds no inductor, only capacitors and resistors; add some"),
        (["4.7uF", "--stock", "{stock}.none"], "does not exist"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, stock, arguments, message):
    done = run("values", *[a.format(stock=stock) for a in arguments])
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_help_has_an_example(run):
    done = run("values", "--help")
    assert done.status == 0
    assert "Example: xover values" in done.out
