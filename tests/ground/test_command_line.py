"""The command line: what it helps with, what it refuses, in which words and with which exit code."""

import gzip
import os
import re
import subprocess
import sys
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest
from typer.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parent / "link"))

from small_flight import build_log

from ground import cli
from ground.errors import LoftbookError

ROOT = Path(__file__).parents[2]
COMMANDS = ("new", "card", "recover", "report", "ask", "export", "replay", "follow")


@pytest.fixture
def loftbook(capsys, monkeypatch):
    """Runs a command line in this process: returns exit code, output, errors."""
    monkeypatch.setenv("COLUMNS", "200")

    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            cli.main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return ended.value.code or 0, out, err

    return run


@pytest.fixture
def in_folder(tmp_path, monkeypatch):
    """Work in an empty folder, so that messages hold the bare names that a user would type."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def help_of(*words):
    result = CliRunner(env={"COLUMNS": "80"}).invoke(
        cli.build_app([]), [*words, "--help"], prog_name="loftbook"
    )
    assert result.exit_code == 0
    return result.output


@pytest.mark.parametrize("command", COMMANDS)
def test_help_begins_with_what_happens_then_an_example_then_one_line_an_option(command):
    lines = help_of(command).splitlines()
    assert lines[0].startswith(f"Usage: loftbook {command} [OPTIONS]")
    assert lines[2].endswith((".", ","))
    example = next(i for i, line in enumerate(lines) if line.startswith("  Example, "))
    assert lines[example + 1].startswith(f"    loftbook {command} ")
    assert "napraforgo" in lines[example + 1]
    options = lines[lines.index("Options:") + 1 :]
    assert example < lines.index("Options:")
    for line in options:
        # An option's line that had no room would go on in a line that starts with spaces alone.
        assert line.startswith("  -"), line
        assert len(line) <= 80


def test_the_list_of_commands_says_a_whole_sentence_about_each():
    lines = help_of().splitlines()
    listed = dict(line.split(None, 1) for line in lines[lines.index("Commands:") + 1 :])
    assert list(listed) == list(COMMANDS)
    for sentence in listed.values():
        assert sentence.endswith(".") and not sentence.endswith("...")


def test_the_examples_of_the_help_are_accepted_by_the_commands(in_folder):
    app = cli.build_app([])
    for command in COMMANDS:
        line = next(x for x in help_of(command).splitlines() if x.startswith(f"    loftbook {command}"))
        result = CliRunner().invoke(app, [*line.split()[1:], "--help"])
        assert result.exit_code == 0
        if command == "new":
            continue  # it needs nothing that could be missing
        # Without --help they run, and stop at the file or port that is not there.
        result = CliRunner().invoke(app, line.split()[1:])
        assert isinstance(result.exception, LoftbookError)


def test_version_names_program_and_format(loftbook):
    code, out, err = loftbook("--version")
    assert (code, err) == (0, "")
    assert out.startswith("loftbook ") and out.endswith(", record format 1\n")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["fly"], "Error: No such command 'fly'."),
        (["recover", "napraforgo-card.img"], "Error: Missing option '--output' / '-o'."),
        (["replay", "napraforgo-card.img"], "Error: Missing option '--port'."),
        (["replay", "a", "--port", "pty", "--speed", "-1"], "Error: Invalid value for '--speed': "),
        (["follow", "--port", "pty"], "Error: Missing option '--capture'."),
    ],
)
def test_wrong_usage_exits_with_2(loftbook, arguments, says):
    code, out, err = loftbook(*arguments)
    assert (code, out) == (2, "")
    assert err.splitlines()[-1].startswith(says)


def test_no_arguments_show_the_help(loftbook):
    code, out, err = loftbook()
    assert code == 2
    assert "Commands:" in out + err


# A JPEG file's beginning: ISO/IEC 10918-1, annex B (SOI and APP0 markers) and ISO/IEC 10918-5 (JFIF).
JPEG_LIKE = bytes.fromhex("ffd8ffe000104a46494600010100000100010000") + bytes(range(256)) * 40

NOT_FLIGHTS = {
    "missing.img": (None, 1, "missing.img: no such file; check the name"),
    "empty.img": (b"", 1, "empty.img: is empty; there is nothing to recover"),
    "folder": ("folder", 1, "folder: is a directory; name one log, capture or card image in it"),
    "zeros.img": (
        bytes(100_000), 3, "nothing of ours found in zeros.img: 100000 bytes read, no block, no packet"
    ),
    "meadow.jpg": (
        JPEG_LIKE, 3, f"nothing of ours found in meadow.jpg: {len(JPEG_LIKE)} bytes read, no block, no packet"
    ),
    "one.img": (b"x", 3, "nothing of ours found in one.img: 1 byte read, no block, no packet"),
}  # fmt: skip


@pytest.mark.parametrize("name", NOT_FLIGHTS)
@pytest.mark.parametrize("command", ["recover", "replay"])
def test_a_source_that_is_no_flight_is_told_in_one_line_and_leaves_nothing(
    loftbook, in_folder, command, name
):
    content, exit_code, message = NOT_FLIGHTS[name]
    if content == "folder":
        Path(name).mkdir()
    elif content is not None:
        Path(name).write_bytes(content)
    before = sorted(in_folder.iterdir())
    options = ["-o", "napraforgo-1"] if command == "recover" else ["--port", "pty"]
    assert loftbook(command, name, *options) == (exit_code, "", f"loftbook: {message}\n")
    assert sorted(in_folder.iterdir()) == before


@pytest.fixture
def card(in_folder):
    Path("napraforgo-card.img").write_bytes(build_log() + bytes(4096))
    return "napraforgo-card.img"


def test_a_whole_card_is_recovered_and_the_source_is_untouched(loftbook, card):
    before = Path(card).read_bytes()
    code, out, err = loftbook("recover", card, "-o", "napraforgo-1")
    assert (code, err) == (0, "")
    assert "Napraforgo-1" in out
    assert "Written to napraforgo-1: tables, summary.txt, account.txt, card.svg, ledger.json\n\nNothing of" in out
    assert {"fix.csv", "pressure.csv", "summary.txt", "account.txt", "card.svg", "ledger.json"} <= {
        p.name for p in Path("napraforgo-1").iterdir()
    }
    assert Path(card).read_bytes() == before


def test_a_damaged_card_is_recovered_with_losses_and_exit_code_4(loftbook, card):
    damaged = bytearray(Path(card).read_bytes())
    for byte in (100, 300):  # two bits far apart cannot be repaired
        damaged[512 * 20 + byte] ^= 0x10
    Path(card).write_bytes(damaged)
    code, out, err = loftbook("recover", card, "-o", "napraforgo-1")
    assert (code, err) == (4, "")
    account = Path("napraforgo-1", "account.txt").read_text("utf-8")
    assert re.search(r"^Lost {14}1 block, \d.\d %: 1 damaged \(wrong bits\)$", account, re.MULTILINE)
    assert out.endswith("\n\n" + account)


def test_what_one_card_image_lost_is_taken_from_another(loftbook, card):
    damaged = bytearray(Path(card).read_bytes())
    damaged[512 * 20 + 100] ^= 0x10
    Path("napraforgo-second.img").write_bytes(damaged)
    assert loftbook("recover", "napraforgo-second.img", card, "-o", "napraforgo-1")[0] == 0
    assert loftbook("recover", "napraforgo-second.img", card, card, "-o", "napraforgo-2") == (
        1, "", f"loftbook: {card}: is named twice; name every source once\n"
    )


def test_a_compressed_file_of_which_nothing_is_left_says_why(loftbook, in_folder):
    Path("napraforgo-card.img.gz").write_bytes(gzip.compress(bytes(1000))[:10])
    assert loftbook("recover", "napraforgo-card.img.gz", "-o", "napraforgo-1") == (
        3, "", "loftbook: nothing of ours found in napraforgo-card.img.gz: 0 bytes read, no block, no packet; "
        "lost: the rest of napraforgo-card.img.gz, which ends in the middle, after 10 bytes: it was cut off\n"
    )


@pytest.mark.parametrize("kind", ["folder", "file", "dangling link"])
def test_an_output_that_exists_is_never_touched(loftbook, card, kind):
    output = Path("napraforgo-1")
    if kind == "folder":
        output.mkdir()
    elif kind == "file":
        output.write_text("ours")
    elif hasattr(os, "symlink"):
        output.symlink_to("nowhere")
    expected = "loftbook: napraforgo-1: exists already and is not overwritten; name a new folder\n"
    assert loftbook("recover", card, "-o", "napraforgo-1") == (1, "", expected)
    assert kind != "file" or output.read_text() == "ours"


def test_a_capture_that_exists_is_never_touched(loftbook, in_folder):
    Path("napraforgo-radio.bin").write_bytes(b"ours")
    expected = (
        "loftbook: napraforgo-radio.bin: already exists; "
        "choose another file, so that nothing is overwritten\n"
    )
    assert loftbook("follow", "--port", "pty", "--capture", "napraforgo-radio.bin") == (1, "", expected)
    assert Path("napraforgo-radio.bin").read_bytes() == b"ours"


def test_a_port_that_cannot_be_opened_leaves_no_capture(loftbook, in_folder):
    code, out, err = loftbook("follow", "--port", "/dev/no-such-port", "--capture", "napraforgo-radio.bin")
    assert (code, out) == (1, "")
    assert err.startswith("loftbook: /dev/no-such-port: cannot open this port: no such device; ")
    assert not Path("napraforgo-radio.bin").exists()


class MadeEntryPoint:
    """Stands for an installed package's entry point."""

    def __init__(self, name, load):
        self.name = name
        self.load = load


def hover(height_m: int = 10):
    """Stays where it is."""
    print(f"hovering at {height_m} m")


def broken_import():
    raise ModuleNotFoundError("No module named 'gone'")


def bad_annotation(what: "NothingOfThisName"):  # noqa: F821
    """Cannot be a command."""


def test_commands_of_other_packages_join_and_broken_ones_stay_out(loftbook, monkeypatch):
    plugins = [
        MadeEntryPoint("hover", lambda: hover),
        MadeEntryPoint("gone", broken_import),
        MadeEntryPoint("odd", lambda: bad_annotation),
        MadeEntryPoint("nothing", lambda: None),
        MadeEntryPoint("recover", lambda: hover),  # may not take the place of ours
        EntryPoint("absent", "no_such_package_here:run", cli.PLUGIN_GROUP),
    ]
    monkeypatch.setattr(cli, "entry_points", lambda group: plugins if group == cli.PLUGIN_GROUP else [])
    code, out, err = loftbook("--help")
    assert (code, err) == (0, "")
    listed = [line.split()[0] for line in out[out.index("Commands:") :].splitlines()[1:]]
    assert listed == [*COMMANDS, "hover"]
    assert loftbook("hover", "--height-m", "30") == (0, "hovering at 30 m\n", "")
    assert "Stays where it is." in loftbook("hover", "--help")[1]
    code, out, err = loftbook("gone", "--any", "thing")
    assert (code, out) == (1, "")
    assert err == (
        "loftbook: gone: this command cannot be loaded (ModuleNotFoundError: No module named 'gone'); "
        "reinstall the package it is from\n"
    )
    for name in ("odd", "nothing", "absent"):
        assert loftbook(name)[0] == 1
    assert "napraforgo-card.img" in loftbook("recover", "--help")[1]


def raising(error):
    def command():
        raise error

    return command


@pytest.mark.parametrize(
    ("error", "code", "message"),
    [
        (LoftbookError("a: b\nc", 7), 7, "loftbook: a: b c\n"),
        (KeyboardInterrupt(), 130, ""),
        (OSError(28, "No space left on device", "napraforgo-1/fix.csv"), 1,
         "loftbook: napraforgo-1/fix.csv: No space left on device\n"),
    ],
)  # fmt: skip
def test_what_goes_wrong_in_a_command_ends_in_a_line_and_a_code(loftbook, monkeypatch, error, code, message):
    monkeypatch.setattr(cli, "entry_points", lambda group: [MadeEntryPoint("fail", lambda: raising(error))])
    assert loftbook("fail") == (code, "", message)


def subprocess_of(*arguments, **options):
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **options.pop("environment", {})}
    return subprocess.run(
        [sys.executable, "-m", "ground", *arguments],
        capture_output=True,
        timeout=60,
        env=environment,
        **options,
    )


def test_a_name_that_the_terminal_cannot_show_is_still_told(in_folder):
    result = subprocess_of("recover", "repülés.img", "-o", "x", environment={"PYTHONIOENCODING": "ascii"})
    assert result.returncode == 1
    assert result.stderr == b"loftbook: rep\\xfcl\\xe9s.img: no such file; check the name\n".replace(
        b"\n", os.linesep.encode()
    )


@pytest.mark.skipif(sys.platform == "win32", reason="a closed pipe shows otherwise there")
def test_a_reader_that_went_away_causes_no_complaint():
    reading, writing = os.pipe()
    os.close(reading)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    result = subprocess.run(
        [sys.executable, "-m", "ground", "--help"],
        stdout=writing,
        stderr=subprocess.PIPE,
        timeout=60,
        env=environment,
    )
    os.close(writing)
    assert result.stderr == b""
    assert result.returncode == 1
