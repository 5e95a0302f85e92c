"""The page: whole by itself, and whatever a card or a file holds is text in it."""

import json
import re
from html.parser import HTMLParser
from importlib import resources

import pytest
from page_flights import EVIL, EVIL_EVENT, EVIL_KIND

from ground.page import looks
from ground.page.page import MARKER

# Elements that may stand in the page; HTML Living Standard (WHATWG), section 4, knows many more.
OURS = set(
    "html head meta title style body header main nav section article h1 h2 h3 h4 p ul li a fieldset legend label "
    "input noscript strong span figure div figcaption button svg path rect details summary dl dt dd table thead "
    "tbody tr th td script".split()
)
VOID = {"meta", "input", "path", "rect"}


class Reader(HTMLParser):
    """Collects the elements, the text of each, and what does not close."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements, self.open, self.texts, self.wrong = [], [], {}, []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append((tag, self.getpos()))

    def handle_data(self, data):
        if self.open:
            self.texts.setdefault(self.open[-1], []).append(data)


@pytest.fixture(scope="module")
def reader(usual_page):
    return Reader(usual_page)


@pytest.fixture(scope="module")
def evil_reader(evil_page):
    return Reader(evil_page)


@pytest.mark.parametrize("which", ["reader", "evil_reader"])
def test_every_element_is_ours_closed_and_needs_no_network(which, request):
    found = request.getfixturevalue(which)
    assert found.wrong == [] and found.open == []
    assert {tag for tag, _ in found.elements} <= OURS
    assert sum(tag == "script" for tag, _ in found.elements) == 3
    for tag, attributes in found.elements:
        assert not any(name.startswith("on") for name in attributes), (tag, attributes)
        for name in ("src", "href", "action", "data", "poster", "srcset", "style"):
            assert attributes.get(name, "#").startswith("#"), (tag, attributes)
    policy = [a["content"] for _, a in found.elements if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy and policy[0].startswith("default-src 'none'")
    style = "".join(found.texts["style"])
    assert "url(" not in style and "@import" not in style


def test_names_from_the_card_are_text(evil_reader, evil_page):
    assert "".join(evil_reader.texts["h1"]).startswith(EVIL)
    assert EVIL not in evil_page
    assert "<img" not in evil_page.replace("\\u003c", "").split("<script>")[0]


def test_the_data_of_the_plots_are_json_and_safe_for_plotly(evil_page):
    inside = re.search(r'<script type="application/json" id="plots">(.*?)</script>', evil_page, re.S).group(1)
    assert not set("<>&") & set(inside)
    plots = json.loads(inside)
    strings = list(_strings(plots))
    # plotly reads some HTML; what it reads starts with "<". Ours are only in templates, as <br> and <extra>.
    tags = {tag for text in strings for tag in re.findall(r"</?(\w+)", text)}
    assert tags == {"br", "extra"}
    assert any("&lt;img" in text for text in strings) and any("&lt;b onclick" in text for text in strings)
    templates = [hover for plot in plots for trace in plot["traces"] for hover in trace.get("hover", ())]
    assert not any("%{y}" in template for template in templates)  # of the event's name


def _strings(content):
    if isinstance(content, str):
        yield content
    elif isinstance(content, (list, dict)):
        for part in content.values() if isinstance(content, dict) else content:
            yield from _strings(part)


def test_the_evil_names_are_there_to_be_seen(evil_plots):
    named = [
        str(label.metric) for plot in evil_plots for trace in getattr(plot, "traces", ()) for label in trace.labels
    ]
    assert any(EVIL_EVENT in label for label in named)
    rows = [name for plot in evil_plots if plot.key == "coverage" for _, name in plot.panels[0].y.labels]
    assert EVIL_KIND in rows


def test_the_page_says_what_it_must(usual, usual_page, reader):
    # WCAG 2.2: 3.1.1 language of page, 2.4.2 page titled, 1.1.1 text for what is no text.
    assert next(a for tag, a in reader.elements if tag == "html")["lang"] == "en"
    assert "".join(reader.texts["title"]) == "Napraforgo-1"
    plots = [a for _, a in reader.elements if a.get("role") == "img"]
    assert plots and all(len(plot["aria-label"]) > 20 for plot in plots)
    for one in usual.statements.values():
        assert f'id="say-{one["id"]}"' in usual_page
    assert f'<meta name="generator" content="{MARKER}">' in usual_page[:1000]
    assert len(usual_page.encode()) < 8_000_000


def test_text_can_be_read_on_the_paper():
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1; relative luminance as it defines it.
    style = (resources.files("ground.page") / "style.css").read_text("utf-8")
    colours = re.findall(r"(?:^|[\s;{])color: (#[0-9a-f]{3,6})", style)
    assert len(colours) > 3
    for colour in [looks.INK, looks.GREY, *colours]:
        assert (1.0 + 0.05) / (_luminance(colour) + 0.05) >= 4.5, colour


def _luminance(colour):
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
