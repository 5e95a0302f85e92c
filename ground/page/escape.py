"""Text from a card or a file, made safe for where it is put: it stays text, whatever it holds."""

import html
import json
import re

from ground.report.plain import printable

_MOST = 2000
_UNITS = "m|km|ft|mi|s|min|h|g|V|K|%|°C|°F|m/s|mph|ft/min|hPa|inHg|deg|UTC"


def clean(text):
    """The text without control characters, and not endless."""
    return printable(str(text), _MOST)


def for_plotly(text):
    """Text for a title or a label of plotly, which reads some HTML in them and turns entities back into letters."""
    return html.escape(clean(text), quote=False)


def for_matplotlib(text):
    """Text for matplotlib, which reads what stands between dollar signs as mathematics."""
    return clean(text).replace("$", r"\$")


def for_script(content):
    """JSON that can stand inside a script element: nothing in it ends the element or begins a comment.

    content: what json.dumps takes, without NaN. Source: the HTML standard (WHATWG), "Restrictions for contents of
    script elements", which advises to escape "<".
    """
    text = json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def tie(text):
    """The text with what belongs together tied, so that no line breaks within a number or before its unit, and with
    minus signs before numbers.
    """
    return re.sub(r"(?<![\w.)-])-(?=\d)", "\u2212", together(clean(text)))


def together(text):
    """The text with spaces that break no line within a number and before its unit."""
    text = re.sub(r"(?<=\d) (?=\d{3}(?!\d))", "\u00a0", text)
    return re.sub(rf"(?<=\d) (?=(?:{_UNITS})(?![A-Za-z]))", "\u00a0", text)
