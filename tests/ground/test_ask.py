"""`loftbook ask`: lists what can be asked, and answers."""

import json
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "page"))

from page_flights import EVIL, write_evil

from ground import cli


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_evil(tmp_path_factory.mktemp("ask") / "flight")


@pytest.fixture
def ask(capsys, folder):
    """Runs the command: exit code, output, errors."""

    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            cli.main(["ask", str(folder), *arguments])
        out, err = capsys.readouterr()
        return ended.value.code or 0, out, err

    return run


def test_without_a_question_it_lists_every_one_by_topic(ask, folder):
    code, out, err = ask()
    assert (code, err) == (0, "")
    known = json.loads((folder / "summary.json").read_text("utf-8"))["statements"]
    lines = out.splitlines()
    for key, one in known.items():
        line = next(line for line in lines if line.split()[:1] == [key])
        assert one["title"] in line
        assert max(
            place for place, topic in enumerate(lines[: lines.index(line)]) if topic and topic[0] != " "
        ) == (lines.index(one["topic"]))


def test_an_answer_has_both_units_uncertainty_confidence_and_evidence(ask):
    code, out, err = ask("greatest_height")
    assert (code, err) == (0, "") and "Traceback" not in out
    for word in (" m", " ft", "Value:", "Uncertainty:", "k = 2", "Confidence:", "For its value:", "fix.height_m"):
        assert word in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_no_line_begins_with_a_unit_and_tables_have_few_digits(ask):
    out = ask("greatest_height")[1]
    assert not any(line.split()[:1] in (["m"], ["m,"], ["ft"], ["ft,"]) for line in out.splitlines())
    assert ask("boots")[1].split("Value:")[1].split()[0] == "1"  # a count, not 1.00
    table = ask("fall_curve")[1].rsplit("\n\n", 1)[1]
    assert "fall speed (m/s)" in table and not re.search(r"\d\.\d{4}", table)


def test_what_the_data_cannot_answer_is_an_answer(ask):
    code, out, err = ask("tropopause")
    assert (code, err) == (0, "")
    # A flight to 2.5 km reaches no tropopause: it lies above 500 hPa by definition (WMO 1957), 5.6 km in ISO 2533.
    assert "cannot tell" in out and "Value:" not in out


def test_json_is_the_statement_as_it_is(ask):
    code, out, err = ask("launch", "--json")
    assert code == 0 and json.loads(out)["id"] == "launch"
    assert set(json.loads(ask("--json")[1])) > {"launch", "burst", "landing"}


def test_an_unknown_question_names_near_ones_in_one_line(ask):
    code, out, err = ask("tropopuase")
    assert (code, out) == (1, "")
    assert (
        err.startswith("loftbook: tropopuase: nothing is known by that name; did you mean tropopause")
        and err.count("\n") == 1
    )
    code, out, err = ask(f"\x1b[31m{EVIL}")
    assert code == 1 and "\x1b" not in err and err.count("\n") == 1 and "lists what can be asked" in err
