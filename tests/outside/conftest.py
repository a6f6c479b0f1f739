"""Lets the tests of this folder import the helpers beside them and the random networks."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "network")]
