"""Puts the made-up flights of tests/ground/analyse within reach."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "analyse"))
