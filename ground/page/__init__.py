"""The report of a flight: one page that needs nothing else, and the same plots as pictures."""
