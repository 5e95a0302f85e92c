"""What the checks raise; load.py makes a line of it."""


class Wrong(Exception):
    """path: tuple of keys and numbers (from 0) that lead to the value; words: what is wrong, what to do."""

    def __init__(self, path, words):
        super().__init__(words)
        self.path = path
        self.words = words
