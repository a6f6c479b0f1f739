"""Files damaged as editors, spreadsheets, transfers and people damage them, and as those who mean harm do."""

import random
from pathlib import Path

HOSTILE = [
    b"nan",
    b"inf",
    b"-1",
    b"0",
    b"1e999",
    b"1e-999",
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"9" * 400,
    b"((((",
    b"{1/0}",
    b"__import__('os').system('id')",
    b"10mF",
    b"10MFD",
    b"1,000.5",
    b"\xc3\xa9",
    b"\xe2\x80\xae",
    b"\r",
    b"\n\n",
    b"=",
    b"[",
    b"]]",
    b'"',
    b"'''",
    b"K1 L1 L2 1",
    b"R9 in 0 0",
    b"Vx w 0",
    b"Vy in 0",
    b".param a={a}",
    b"+ +",
    b"* ;",
    b"X" * 300,
    b"tweeter",
    b"../../../../etc/passwd",
    b"found.cir",
    b"minimum",
    b"common",
    b"true",
    b"1979-05-27",
    b"L1 in w 1.8mH",
]


def mangle(data: bytes, rng: random.Random) -> bytes:
    """Damage a file in one of the ways that editors, spreadsheets, transfers and people do."""
    lines = data.split(b"\n")
    pick = rng.randrange(len(lines))
    how = rng.randrange(12)
    if how == 0:
        return data[: rng.randrange(len(data) + 1)]
    if how == 1:
        spot = rng.randrange(len(data) + 1)
        return data[:spot] + rng.choice(HOSTILE) + data[spot:]
    if how == 2:
        damaged = bytearray(data)
        for _ in range(rng.randint(1, 20)):
            damaged[rng.randrange(len(damaged))] = rng.randrange(256)
        return bytes(damaged)
    if how == 3:
        del lines[pick]
    elif how == 4:
        lines.insert(pick, lines[rng.randrange(len(lines))])
    elif how == 5:
        rng.shuffle(lines)
    elif how == 6:
        words = lines[pick].split(b" ")
        words[rng.randrange(len(words))] = rng.choice(HOSTILE)
        lines[pick] = b" ".join(words)
    elif how == 7:
        return data.replace(b".", b",")
    elif how == 8:
        return data.decode("latin-1").encode(rng.choice(["utf-16", "utf-16-le", "utf-8-sig", "utf-32"]))
    elif how == 9:
        return data.replace(
            rng.choice([b",", b"=", b'"', b" ", b"0", b"in", b"["]), rng.choice([b"", b";", b"\t", b"9"])
        )
    elif how == 10:
        return rng.choice([b"", b"\n", b"\x00" * 50, rng.randbytes(300), data * 2])
    else:
        start = rng.randrange(len(lines))
        del lines[start : start + rng.randint(1, 30)]
    return b"\n".join(lines)


def thinned(table: bytes) -> bytes:
    """Every twelfth row of a table: as many ways to break it, in less time."""
    return b"\n".join(line for n, line in enumerate(table.split(b"\n")) if n % 12 == 0 or not line[:1].isdigit())


def thin(folder: Path) -> None:
    """Thin the tables of a folder."""
    for path in folder.rglob("*"):
        if path.suffix in {".csv", ".txt", ".z1p"}:
            path.write_bytes(thinned(path.read_bytes()))
