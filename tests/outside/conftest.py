"""Lets the tests of this folder import the helpers beside them the random networks and the charging times."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "network"), str(HERE.parent / "parts")]
