"""KML 2.2: the track at its height, and the places that matter.

Source: OGC 07-147r2, KML 2.2. With altitudeMode absolute, heights are metres above mean sea level (EGM96),
which is what the receiver says. Written element by element, because the schema asks for an order of elements
and for identifiers that writers of KML at hand do not keep.
"""

from xml.etree.ElementTree import Element, SubElement, tostring

from ground.export.clean import xml_text
from ground.export.marks import flight_marks
from ground.export.track import flight_track, thinned

NAMESPACE = "http://www.opengis.net/kml/2.2"
MOST_POINTS = 4000  # viewers on phones choke on more
# Blue and vermilion of the colours that the colour-blind tell apart (Okabe and Ito, Color Universal Design,
# 2008), as KML writes colours: opacity, blue, green, red.
_STYLES = {"climb": "b27200", "fall": "005ed5"}
_LINE_WIDTH, _CURTAIN_OPACITY = "3", "28"


def kml_text(record):
    """Write a RecordedFlight as KML 2.2: climb and fall as lines at their height, placemarks for the moments."""
    case = record.case
    track = thinned(flight_track(case), MOST_POINTS)
    root = Element("kml", xmlns=NAMESPACE)
    document = SubElement(root, "Document")
    _texts(
        document, name=f"{record.payload or 'Flight'} {record.flight}",
        description="Track of a balloon flight, from the payload's own log",
    )  # fmt: skip
    for name, colour in _STYLES.items():
        style = SubElement(document, "Style", id=name)
        _texts(SubElement(style, "LineStyle"), color="ff" + colour, width=_LINE_WIDTH)
        _texts(SubElement(style, "PolyStyle"), color=_CURTAIN_OPACITY + colour)
    top_s = case.since_launch_s(case.window.top_s) if case.window else 0.0
    for part in track.segments():
        index = range(part.start, part.stop)
        _line(document, track, "climb", [i for i in index if track.since_launch_s[i] <= top_s])
        _line(document, track, "fall", [i for i in index if track.since_launch_s[i] >= top_s])
    for mark in flight_marks(record.statements):
        _mark(document, mark)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def _texts(parent, **children):
    for tag, text in children.items():
        SubElement(parent, tag).text = xml_text(text)


def _line(document, track, name, points):
    """A line through the points with a known height; without any height one that lies on the ground."""
    known = [i for i in points if track.height_m[i] == track.height_m[i]]
    points = known or points
    if len(points) < 2:
        return
    mark = SubElement(document, "Placemark")
    _texts(mark, name=name.capitalize(), styleUrl=f"#{name}")
    line = SubElement(mark, "LineString")
    if known:
        _texts(line, extrude="1", altitudeMode="absolute")
    else:
        _texts(line, tessellate="1")
    _texts(
        line,
        coordinates=" ".join(
            _place(track.longitude_deg[i], track.latitude_deg[i], track.height_m[i] if known else None) for i in points
        ),
    )  # fmt: skip


def _mark(document, mark):
    placemark = SubElement(document, "Placemark")
    _texts(placemark, name=mark.name, description=mark.text)
    if mark.utc:
        _texts(SubElement(placemark, "TimeStamp"), when=mark.utc)
    point = SubElement(placemark, "Point")
    if mark.height_m is not None:
        _texts(point, altitudeMode="absolute")
    _texts(point, coordinates=_place(mark.longitude_deg, mark.latitude_deg, mark.height_m))


def _place(longitude_deg, latitude_deg, height_m):
    place = f"{longitude_deg:.7f},{latitude_deg:.7f}"
    return place if height_m is None else f"{place},{height_m:.1f}"
