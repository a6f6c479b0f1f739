"""How much is read of anything: generous for honest folders, one line with the remedy beyond.

A folder may come from a stranger. The work of every command grows with what is counted here, so that no small file can
cost much time or memory; each reader refuses what lies beyond before it works on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from xover.errors import InputError

LONGEST_LINE: Final = 20_000
"""Letters in a line, and in a card with its continuations."""
LONGEST_NUMBER: Final = 100
"""Letters of a number in a sweep; of a value with its unit: `quantity.LONGEST_VALUE`."""
MOST_FIELDS: Final = 256
"""Columns of a row, or words of a card."""
MOST_ROWS: Final = 200_000
"""Of one sweep."""
MOST_STOCK_ROWS: Final = 20_000
DEEPEST_KEY: Final = 8
"""Names with dots between them in a TOML key, and brackets within each other in a value."""
MOST_DRIVERS: Final = 64
MOST_NETWORKS: Final = 64
MOST_PARTS: Final = 150
"""Resistors, coils and capacitors of one network."""
MOST_CARDS: Final = 400
"""Of one network, couplings and drivers among them."""
MOST_NAMES: Final = 400
"""Names of files that are looked through for the one that was probably meant."""
MOST_PARAMETERS: Final = 400
"""`.param` names of one netlist."""


@dataclass(frozen=True)
class Budget:
    """What one kind of file may hold, and what to do where it holds more."""

    most_bytes: int
    most_lines: int
    remedy: str
    longest_line: int = LONGEST_LINE

    def check_bytes(self, size: int, path: Path) -> None:
        """Raise InputError for a file of too many bytes."""
        if size > self.most_bytes:
            raise InputError(f"is larger than {self.most_bytes // 1024**2} MB", self.remedy, path)

    def check_lines(self, text: str, path: Path) -> None:
        r"""Raise InputError, with the line, for too many lines or one that is too long; lines end in "\n"."""
        if text.count("\n") > self.most_lines:
            raise InputError(f"has more than {self.most_lines} lines", self.remedy, path)
        start = 0
        while len(text) - start > self.longest_line:
            end = text.rfind("\n", start, start + self.longest_line + 1)
            if end < 0:
                raise InputError(
                    f"has more than {self.longest_line} letters in one line",
                    "check that it is the right file, and break the line",
                    path,
                    text.count("\n", 0, start) + 1,
                )
            start = end + 1


SPEAKER_FILE: Final = Budget(1024**2, 20_000, "keep what describes the loudspeaker")
NETLIST_FILE: Final = Budget(1024**2, 20_000, "keep one network, and short notes")
TABLE_FILE: Final = Budget(16 * 1024**2, MOST_ROWS + 50_000, "thin the sweep out")
STOCK_FILE: Final = Budget(8 * 1024**2, 2 * MOST_STOCK_ROWS, "keep what you would buy")
LEVELS_FILE: Final = Budget(1024**2, 2000, "keep one table of third octaves")
RECORDING_FILE: Final = Budget(256 * 1024**2, 0, "record less before and after the sweep")
TEXT_FILE: Final = Budget(64 * 1024**2, 64 * 1024**2, "thin the data out or split the file", 64 * 1024**2)
"""Any other, such as a page of our own."""
