"""On which line of a TOML text each key stands: tomllib reads values and forgets their places."""

from tomllib import loads

_QUOTES = ('"""', "'''", '"', "'")


def key_lines(text):
    """Find the lines of all keys and table headers.

    text: str, valid TOML (what tomllib has read).
    Returns dict path -> line number from 1; a path is a tuple of keys, with the number from 0 where an
    array's element is meant: ("switches", 1, "pin").
    """
    return _Reader(text).read()


class _Reader:
    def __init__(self, text):
        self._text = text.replace("\r\n", "\n")
        self._at = 0
        self._line = 1
        self._counted = 0  # newlines before this position are in _line
        self._lines = {}
        self._arrays = {}  # path of an array of tables -> number of its last element

    def read(self):
        table = ()
        while self._skip(" \t\n"):
            if self._peek("["):
                table = self._header()
            else:
                self._pair(table)
        return self._lines

    def _skip(self, blanks):
        """Go over blanks and comments; False at the end of the text."""
        while self._at < len(self._text):
            if self._text[self._at] == "#":
                self._at = self._find("\n")
            elif self._text[self._at] in blanks:
                self._at += 1
            else:
                return True
        return False

    def _peek(self, token):
        return self._text.startswith(token, self._at)

    def _find(self, token):
        found = self._text.find(token, self._at)
        return len(self._text) if found < 0 else found

    def _note(self, path):
        self._line += self._text.count("\n", self._counted, self._at)
        self._counted = self._at
        self._lines.setdefault(path, self._line)

    def _header(self):
        is_array = self._peek("[[")
        self._at += 2 if is_array else 1
        keys = self._keys()
        path = ()
        for key in keys[:-1]:
            self._note((*path, key))
            path = self._inside((*path, key))
        path = (*path, keys[-1])
        if is_array:
            self._arrays[path] = self._arrays.get(path, -1) + 1
            self._note(path)
            path = self._inside(path)
        self._note(path)
        self._at += 2 if is_array else 1
        return path

    def _inside(self, path):
        return (*path, self._arrays[path]) if path in self._arrays else path

    def _keys(self):
        """A key, perhaps dotted, as a list of its parts."""
        keys = []
        while True:
            self._skip(" \t")
            start = self._at
            if self._text[start] in "\"'":
                self._string()
                keys.append(next(iter(loads(self._text[start : self._at] + " = 0"))))
            else:
                while self._text[self._at] not in " \t.=]":
                    self._at += 1
                keys.append(self._text[start : self._at])
            self._skip(" \t")
            if not self._peek("."):
                return keys
            self._at += 1

    def _pair(self, table):
        path = table
        start = self._at
        for key in self._keys():
            path = (*path, key)
            after, self._at = self._at, start
            self._note(path)
            self._at = after
        self._at += 1  # the equals sign
        self._value(path)

    def _value(self, path):
        self._skip(" \t\n")
        if self._peek("["):
            self._elements("]", lambda number: self._value((*path, number)), path)
        elif self._peek("{"):
            self._elements("}", lambda number: self._pair(path), path)
        elif self._text[self._at] in "\"'":
            self._string()
        else:
            while self._at < len(self._text) and self._text[self._at] not in ",]}\n#":
                self._at += 1

    def _elements(self, end, read_one, path):
        self._at += 1
        number = 0
        while self._skip(" \t\n,") and not self._peek(end):
            if end == "]":
                self._note((*path, number))
            read_one(number)
            number += 1
        self._at += 1

    def _string(self):
        quote = next(quote for quote in _QUOTES if self._peek(quote))
        self._at += len(quote)
        while not self._peek(quote):
            self._at += 2 if self._peek("\\") and quote[0] == '"' else 1
        self._at += len(quote)
        while len(quote) == 3 and self._peek(quote[0]):
            self._at += 1  # quotes just before the closing ones belong to the text
