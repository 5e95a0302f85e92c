"""The plots: valid for plotly, the same in pictures, and in the right units."""

import json
import re
import shutil
import struct
import subprocess
import zlib
from importlib import resources

import numpy as np
import plotly.graph_objects as go
import pytest

from ground.page.interactive import describe
from ground.page.plot import MARKERS, Axis, NoPlot
from ground.page.still import make_figure, write_picture
from ground.page.thin import MOST_POINTS


def drawn(plots):
    return [plot for plot in plots if not isinstance(plot, NoPlot)]


def test_a_usual_flight_has_all_plots_but_those_of_what_it_lacks(usual_plots):
    assert {plot.key for plot in drawn(usual_plots)} >= {"height", "temperature", "track", "speed", "coverage"}
    for plot in usual_plots:
        assert not isinstance(plot, NoPlot) or (plot.reason and not plot.reason.endswith("."))


@pytest.mark.parametrize("which", ["usual_plots", "evil_plots"])
def test_plotly_accepts_each_plot(which, request):
    # plotly's own validators, generated from the schema of plotly.js, raise on what it does not know.
    for plot in drawn(request.getfixturevalue(which)):
        made = describe(plot)
        figure = go.Figure(data=made["data"], layout=made["layout"])
        assert len(figure.data) == len(plot.traces) == len(made["traces"])
        assert all(len(part["x"]) == len(part["y"]) <= MOST_POINTS for part in made["traces"])


def test_imperial_numbers_by_exact_factors():
    # NIST SP 811 (2008), appendix B: 1 ft = 0.3048 m, 1 mi = 1609.344 m, both exact; -40 degrees are
    # the same in both.
    assert Axis("", "m").imperial(30_480.0) == pytest.approx(100_000.0)
    assert Axis("", "km").imperial(1.609344) == pytest.approx(1.0)
    assert Axis("", "degC").imperial(np.array([-40.0, 100.0])) == pytest.approx([-40.0, 212.0])
    assert Axis("", "m/s", climb=True).imperial(0.3048) == pytest.approx(60.0)
    assert Axis("Voltage", "V").title(imperial=True) == "Voltage (V)"
    assert Axis("Height", "m").title(imperial=True) == "Height (ft)"


SCRIPT = """
const made = {}; const plots = process.argv[2];
const element = (id) => ({ id, checked: id === "imperial", textContent: require("fs").readFileSync(plots, "utf8"),
  dataset: {},  setAttribute() {}, addEventListener() {} });
global.window = { matchMedia: () => ({ matches: false }), addEventListener() {} };
global.document = { getElementById: element, querySelectorAll: () => [], body: {} };
global.Plotly = { react: (place, data, layout) => { made[place.id.slice(5)] = { data, layout }; } };
require(process.argv[3]);
console.log(JSON.stringify(made));
"""


@pytest.mark.skipif(shutil.which("node") is None, reason="no node to run the page's script in")
def test_the_switch_of_the_page_and_the_pictures_agree_in_imperial_units(usual_plots, tmp_path):
    described = [describe(plot) for plot in drawn(usual_plots)]
    (tmp_path / "plots.json").write_text(json.dumps(described), "utf-8")
    (tmp_path / "run.js").write_text(SCRIPT, "utf-8")
    own = resources.files("ground.page") / "report.js"
    done = subprocess.run(
        ["node", tmp_path / "run.js", tmp_path / "plots.json", str(own)], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    made = json.loads(done.stdout)
    for plot in drawn(usual_plots):
        figure = make_figure(plot, "", imperial=True)
        # The page's numbers are rounded to what an eye can see: 1 in 10 000 of an axis.
        lines = {line.get_label(): line for axes in figure.axes for line in axes.get_lines()}
        for trace, shown in zip(plot.traces, made[plot.key]["data"], strict=True):
            if trace.shade is not None or list(t.name for t in plot.traces).count(trace.name) > 1:
                continue
            line = lines[trace.name.replace("$", r"\$")]
            for ours, theirs in ((shown["x"], line.get_xdata()), (shown["y"], line.get_ydata())):
                theirs = np.asarray(theirs, float)
                ours = np.array([np.nan if value is None else value for value in ours])
                assert np.allclose(ours, theirs, atol=2e-3 * max(np.nanmax(np.abs(theirs)), 1.0), equal_nan=True)
        titles = [axes.get_title(loc="left") for axes in figure.axes][: len(plot.panels)]
        assert [note["text"] for note in made[plot.key]["layout"]["annotations"]] == titles


def test_pictures_are_wide_and_say_what_they_show(usual_plots, evil_plots, tmp_path):
    chosen = [plot for plot in drawn(usual_plots) if plot.key == "track"]
    chosen += [plot for plot in drawn(evil_plots) if plot.key in ("height", "coverage")]
    for number, plot in enumerate(chosen):
        path = tmp_path / f"{number}.png"
        write_picture(path, plot, "$\\bad{", imperial=number == 1)
        chunks = dict(_chunks(path.read_bytes()))
        # PNG (ISO/IEC 15948:2004), 11.2.2: width and height are the first two words of IHDR.
        width, height = struct.unpack(">II", chunks[b"IHDR"][:8])
        assert width >= 1600 and height >= 900
        assert b"Title" in chunks[b"tEXt"] or b"Title" in chunks.get(b"iTXt", b"")


def _chunks(content):
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    place, texts = 8, []
    while place < len(content):
        length, kind = struct.unpack(">I4s", content[place : place + 8])
        body = content[place + 8 : place + 8 + length]
        assert zlib.crc32(kind + body) == struct.unpack(">I", content[place + 8 + length : place + 12 + length])[0]
        if kind in (b"tEXt", b"iTXt"):
            texts.append(body)
        yield kind, body
        place += 12 + length
    yield b"tEXt", b"".join(texts)


def test_meaning_does_not_rest_on_colour_alone(usual_plots):
    for plot in drawn(usual_plots):
        for panel in plot.panels:
            looks = [
                (trace.kind == MARKERS, trace.style.dash if trace.kind != MARKERS else "", trace.style.mark,
                 trace.style.width > 8)
                for trace in panel.traces if trace.style.dash != "dot" and trace.shade is None
            ]  # fmt: skip
            widths = [trace.style.width for trace in panel.traces]
            assert len(set(looks)) == len(looks) or len(set(widths)) > 1, plot.key


def test_titles_are_sentences_without_a_unit_left_out(usual_plots):
    for plot in drawn(usual_plots):
        for text in (plot.title.metric, plot.title.imperial):
            assert re.match(r"[A-Z0-9]", text) and "{" not in text and "None" not in text and "nan" not in text
