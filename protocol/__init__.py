# The record format, defined once: table.py. FORMAT.md is its specification.
