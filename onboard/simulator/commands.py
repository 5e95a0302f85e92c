"""The simulator's commands of the command line."""

from pathlib import Path

DEMO_MISSION = Path(__file__).with_name("napraforgo-1.toml")
