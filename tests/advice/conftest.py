"""The modules beside the tests are imported by their names."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
