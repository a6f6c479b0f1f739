"""A program whose copies send much, to be ended while they do: it says when it begins, and when it has ended."""

import os
import sys

from xover.pool import Pool
from xover.pool.ends import end_on_signals


def much(number: int) -> bytes:
    return bytes(60_000_000) + bytes([number])


def run() -> None:
    end_on_signals()
    print("begun", flush=True)
    try:
        with Pool(2) as pool:
            for _ in pool.as_they_come(much, range(40)):
                pass
    except SystemExit:
        print("ended", flush=True)
    os._exit(0)  # as the command line does


if __name__ == "__main__":
    sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
    import half_sent  # so that the work has a module's name in the copies

    half_sent.run()
