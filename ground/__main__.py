"""So that `python -m ground` is the command `loftbook`."""

from ground.cli import main

main()
