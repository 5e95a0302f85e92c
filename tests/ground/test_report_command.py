"""`loftbook report`: writes a page and pictures, whole or not at all, and nothing of others over."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "page"))

from page_flights import write_usual

from ground import cli
from ground.errors import LoftbookError
from ground.page import still, write


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_usual(tmp_path_factory.mktemp("report") / "flight")


@pytest.fixture
def report(capsys):
    """Runs the command: exit code, output, errors."""

    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            cli.main(["report", *map(str, arguments)])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return ended.value.code or 0, out, err

    return run


def test_it_writes_a_page_and_pictures_and_replaces_only_its_own(report, folder, tmp_path, monkeypatch):
    monkeypatch.setattr(still, "DPI", 20)  # small pictures are quick
    pictures = tmp_path / "pictures"
    code, out, err = report(folder, "--png", pictures, "--units", "imperial")
    page = folder / "report.html"
    assert (code, err) == (0, "") and str(page) in out
    assert '<body class="imperial">' in page.read_text("utf-8")
    assert "height.png" in {path.name for path in pictures.iterdir()}
    assert oct(page.stat().st_mode & 0o777) == oct(0o666 & ~_umask())
    assert report(folder)[0] == 0
    assert '<body class="metric">' in page.read_text("utf-8")
    assert {path.name for path in folder.iterdir() if path.name.startswith(".")} == set()
    code, out, err = report(folder, "--png", pictures)
    assert (code, out) == (1, "") and "exists already" in err


def _umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask


@pytest.mark.parametrize("content", ["", "a letter", "<html><title>loftbook report</title>"])
def test_a_file_of_others_stays_as_it_is(report, folder, tmp_path, content):
    mine = tmp_path / "letter.html"
    mine.write_text(content, "utf-8")
    code, out, err = report(folder, "-o", mine)
    assert (code, out) == (1, "") and err.count("\n") == 1
    assert "exists already and is no report of ours" in err
    assert mine.read_text("utf-8") == content


def test_places_that_cannot_be_are_told_in_one_line(report, folder, tmp_path):
    for place, says in (
        (tmp_path / "no" / "page.html", "there is no folder"), (tmp_path, "is a folder"),
    ):  # fmt: skip
        code, out, err = report(folder, "-o", place)
        assert (code, out) == (1, "") and err.count("\n") == 1 and says in err
    link = tmp_path / "link.html"
    link.symlink_to(tmp_path / "elsewhere.html")
    assert report(folder, "-o", link)[0] == 1 and not (tmp_path / "elsewhere.html").exists()
    code, out, err = report(tmp_path)
    assert (code, out) == (1, "") and "loftbook recover made" in err


def test_a_report_that_cannot_be_finished_leaves_the_old_one(tmp_path, monkeypatch):
    page = tmp_path / "report.html"
    old = f'<head><meta name="generator" content="{write.MARKER}">'
    page.write_text(old, "utf-8")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(LoftbookError, match="No space left on device"):
        write.write_report(page, "new")
    assert page.read_text("utf-8") == old and list(tmp_path.iterdir()) == [page]
