"""The lines of keys: every key that tomllib finds is found again, on the line on which it stands."""

import tomllib

import pytest

from ground.commands.new import template
from ground.mission.lines import key_lines

TRICKY = '''# a comment with [brackets] = "and more"
name = "first"
"quoted key" = 1
'single.dot' = 2
a.b.c = 3
text = """
name = "not a key"
[not.a.header]
""""
literal = \'\'\'
x = 1 # still text\'\'\'
list = [
  1,
  # between
  { name = "inline", pin = 3 },
  [2, 3],
]

[section]
name = "second"  # the same name in another section
"pin" = 5

  [section.inner]
  name = 7

[[switches]]
name = "camera"
pin = 15
  [switches.more]
  name = 1

[[switches]]
name = "buzzer"
escaped = "a \\" ] } # b"
pin = 15
'''


def paths(content, path=()):
    pairs = content.items() if isinstance(content, dict) else enumerate(content)
    for key, value in pairs:
        yield (*path, key)
        if isinstance(value, dict | list):
            yield from paths(value, (*path, key))


@pytest.mark.parametrize(
    "text", [TRICKY, TRICKY.replace("\n", "\r\n"), template()], ids=["tricky", "crlf", "template"]
)
def test_every_key_is_found_on_a_line_that_has_it(text):
    lines = key_lines(text)
    rows = text.splitlines()
    for path in paths(tomllib.loads(text)):
        assert path in lines, path
        if isinstance(path[-1], str):
            assert path[-1] in rows[lines[path] - 1], path


@pytest.mark.parametrize(
    ("path", "row"),
    [
        (("name",), 'name = "first"'),
        (("a", "b", "c"), "a.b.c = 3"),
        (("single.dot",), "'single.dot' = 2"),
        (("section", "name"), 'name = "second"  # the same name in another section'),
        (("section", "inner", "name"), "  name = 7"),
        (("switches", 0), "[[switches]]"),
        (("switches", 0, "more", "name"), "  name = 1"),
        (("switches", 1, "name"), 'name = "buzzer"'),
        (("list", 1, "pin"), '  { name = "inline", pin = 3 },'),
        (("list", 2), "  [2, 3],"),
    ],
)
def test_the_same_name_in_several_sections_is_told_apart(path, row):
    assert TRICKY.splitlines()[key_lines(TRICKY)[path] - 1] == row


def test_the_second_of_two_pins_has_its_own_line():
    lines = key_lines(TRICKY)
    rows = TRICKY.splitlines()
    first, second = lines["switches", 0, "pin"], lines["switches", 1, "pin"]
    assert rows[first - 1] == rows[second - 1] == "pin = 15"
    assert first < second == len(rows)


@pytest.mark.parametrize("text", ["", "\n", "# only a comment", "a=1", "[a]", "a = 1#c", "[a.b]\nc=1", "[[a]]\n[[a.b]]\n[a.b.c]\nd=1"])
def test_small_files_have_their_keys(text):
    assert set(paths(tomllib.loads(text))) == set(key_lines(text))
