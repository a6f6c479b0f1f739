"""Which parts of a list fit, and whether there are enough of them."""

import pytest

from xover.errors import InputError
from xover.files.stock import ItemKind, StockItem
from xover.parts.stock import Shortage, Stock, StockFit, Wanted, enough, open_stock

R, L, C = ItemKind.RESISTOR, ItemKind.INDUCTOR, ItemKind.CAPACITOR

FILM = StockItem(C, 4.7e-6, volts=250.0, dielectric="film", quantity=3, line=2)
PLAIN = StockItem(C, 4.7e-6, line=3)
OLD = StockItem(C, 4.7e-6, volts=50.0, dielectric="electrolytic", line=4)
WIRE = StockItem(R, 4.7, watts=10.0, quantity=1, line=5)
GONE = StockItem(R, 4.7, watts=20.0, quantity=0, line=6)
COIL = StockItem(L, 1e-3, core="air", dcr_ohm=0.3, line=7)
STOCK = Stock((FILM, PLAIN, OLD, WIRE, GONE, COIL))


@pytest.mark.parametrize(
    ("kind", "asked", "expected"),
    [
        (C, {}, (FILM, PLAIN, OLD)),
        (C, {"least_volts": 50}, (FILM, OLD)),
        (C, {"least_volts": 50.1}, (FILM,)),
        (C, {"dielectric": "electrolytic"}, (OLD,)),
        (C, {"dielectric": "film", "least_volts": 400}, ()),
        (C, {"needed": 3}, (FILM, PLAIN, OLD)),
        (C, {"needed": 4}, (PLAIN, OLD)),
        (R, {}, (WIRE,)),
        (R, {"needed": 2}, ()),
        (R, {"least_watts": 10}, (WIRE,)),
        (R, {"least_watts": 15}, ()),
        (L, {"core": "air"}, (COIL,)),
        (L, {"core": "iron"}, ()),
        (L, {"least_watts": 1}, ()),
    ],
)
def test_of(kind, asked, expected):
    assert STOCK.of(kind, **asked) == expected


def test_what_is_not_stated_does_not_pass_and_can_be_told_apart():
    wanted = Wanted(C, dielectric="film", least_volts=100)
    assert STOCK.judged(wanted, StockFit.NOT_STATED) == (PLAIN,)
    assert STOCK.judged(wanted, StockFit.NO) == (OLD,)
    assert STOCK.judged(wanted, StockFit.YES) == (FILM,)
    assert STOCK.judged(Wanted(R), StockFit.NOT_ENOUGH) == (GONE,)
    # A rating that is too low counts before one that is missing.
    assert Wanted(C, dielectric="film", least_volts=100).judge(StockItem(C, 1e-6, volts=50.0)) is StockFit.NO


def test_a_whole_bill_uses_no_more_than_there_are():
    assert enough([FILM, PLAIN, PLAIN, PLAIN], pairs=2) == []
    assert enough([FILM, PLAIN, FILM], pairs=2) == [Shortage(FILM, 4, 3)]
    assert enough({FILM: 3, WIRE: 1}, pairs=1) == []
    assert enough({FILM: 3, WIRE: 1}) == [Shortage(FILM, 6, 3), Shortage(WIRE, 2, 1)]
    assert enough([GONE], pairs=1) == [Shortage(GONE, 1, 0)]


def test_open_stock(tmp_path):
    path = tmp_path / "bin.csv"
    path.write_text(
        "kind,value,tolerance,price,watts,volts,dcr_ohm,esr_ohm,df,core,maker_code,quantity\n"
        "film,4.7uF,5%,5.1,,250,,0.008,0.0005,,abc,2\ncoil,1mH,10%,9,,,0.3,,,Iron,,\nR,8.2,1%,1,10,500,,,,,,0\n"
    )
    stock = open_stock(path)
    assert stock.path == path
    assert stock.items == (
        StockItem(C, 4.7e-6, 0.05, 5.1, None, 250.0, None, 0.008, 0.0005, None, "film", "abc", 2, 2),
        StockItem(L, 1e-3, 0.1, 9.0, None, None, 0.3, None, None, "iron", None, "", None, 3),
        StockItem(R, 8.2, 0.01, 1.0, 10.0, 500.0, None, None, None, None, None, "", 0, 4),
    )


def test_a_list_without_a_part_is_refused(tmp_path):
    path = tmp_path / "bin.csv"
    path.write_text("kind,value\n")
    with pytest.raises(InputError, match=r"bin\.csv: the list holds no part"):
        open_stock(path)
