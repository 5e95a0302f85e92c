# Small repeatable noise for what happens on the board itself: a 16-bit xorshift generator.
# Source: G. Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8(14), 2003 (shifts 7, 9, 8 for 16 bits
# are common practice, no source).


class Noise:
    """A repeatable sequence of 16-bit numbers from a seed."""

    def __init__(self, seed):
        self._state = seed & 0xFFFF or 1

    def next(self):
        """The next number, 1 .. 65535."""
        state = self._state
        state ^= state << 7 & 0xFFFF
        state ^= state >> 9
        state ^= state << 8 & 0xFFFF
        self._state = state
        return state
