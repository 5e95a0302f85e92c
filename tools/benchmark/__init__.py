"""What the benchmarks share: a flight's log, the same numbers in other formats, and tables."""
