"""Where it flew, seen from above: kilometres east and north of the launch."""

import numpy as np

from ground.page import looks
from ground.page.plot import LINE, MARKERS, Axis, NoPlot, Panel, Plot, Trace, sentence, words
from ground.page.plots.shared import end_of_climb, is_near, moment_marks, stages, told, value
from ground.page.plots.wind import layers
from ground.physics.geodesy import azimuth_deg, distance_m
from ground.statements.quantity import Quantity

TITLE = "Ground track"
_STEP_M = 5000.0
_HEIGHT = Axis("Height", "m")
_SHARE_OF_ARROW = 0.12  # of the plot's extent, for the strongest wind
_SHADED = looks.Style(looks.GREY, mark="circle", size=7)
_SHADED_FALL = looks.Style(looks.GREY, mark="square", size=4)
_LEVEL = looks.Style(looks.BLACK, mark="diamond", size=8)
_ARROW = looks.Style(looks.VERMILLION, width=2.0)
# Wide and below our own track, so that both are seen where they agree; of several the later are narrower.
_OTHERS = tuple(
    looks.Style(*parts)
    for parts in (
        (looks.PURPLE, looks.SOLID, 14.0),
        (looks.SKY_BLUE, looks.DASH, 11.0),
        (looks.GREEN, looks.DOT, 9.0),
    )
)
_SILENT_STEPS = 3.5  # a line is not drawn across a silence of so many usual steps
_MOST_GAP_S = 60.0  # no mark is set into a longer time without a fix
_POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def plot(case, statements):
    """The track coloured by height, wind arrows by layer, and launch, burst and landing."""
    fixes = case.fixes
    if len(fixes) < 2:
        return NoPlot("track", TITLE, "there are fewer than two fixes with a position")
    origin, from_where = _origin(case)
    east_km, north_km = _kilometres(fixes["latitude_deg"], fixes["longitude_deg"], origin)

    def spot(time_s):
        if not is_near(time_s, fixes.time_s, _MOST_GAP_S):
            return None
        return float(np.interp(time_s, fixes.time_s, east_km)), float(np.interp(time_s, fixes.time_s, north_km))

    heights = case.heights.combined
    height_m = np.interp(fixes.time_s, heights.time_s, heights["height_m"]) if len(heights) >= 2 else None
    traces = _others(case, origin) + _stages(case, fixes.time_s, height_m, east_km, north_km)
    if height_m is not None:
        traces += _levels(fixes.time_s, height_m, east_km, north_km)
    extent_km = max(float(np.ptp(east_km)), float(np.ptp(north_km)), 0.1)
    traces += _arrows(case, fixes.time_s, east_km, north_km, extent_km) + moment_marks(case, spot)
    about = told(statements, ("distance", "bearing", "greatest_ground_speed"), "The track, seen from above.")
    panel = Panel(Axis(f"North of the {from_where}", "km"), tuple(traces))
    east = Axis(f"East of the {from_where}", "km")
    notes = ["The arrows show where the wind of a layer blew, and how strong: the longer, the stronger."]
    ended, end_s = end_of_climb(case)
    if end_s is not None and spot(end_s) is None:
        notes.append(f"No mark shows the place of “{ended.lower()}”, as there is no fix near that time.")
    return Plot("track", TITLE, _title(statements), about, east, (panel,), equal=True, notes=tuple(notes))


def _stages(case, time_s, height_m, east_km, north_km):
    """The track stage by stage, each coloured by height, or plain lines where no height is known."""
    traces = []
    for name, start_s, end_s, style in stages(case):
        inside = (time_s >= start_s) & (time_s <= end_s)
        if inside.sum() < 2 or style is looks.GROUND:
            continue
        x, y = east_km[inside], north_km[inside]
        if height_m is None:
            traces.append(Trace(name, LINE, x, y, style))
        else:
            look = _SHADED_FALL if style is looks.FALL else _SHADED
            traces.append(Trace(name, MARKERS, x, y, look, shade=height_m[inside], shade_axis=_HEIGHT))
    return traces


def _others(case, origin):
    """A line for each other source of positions, broken where it was silent."""
    traces = []
    for number, other in enumerate(case.tracks):
        x, y = _kilometres(other.latitude_deg, other.longitude_deg, origin)
        steps_s = np.diff(other.time_utc) / np.timedelta64(1, "s")
        if len(steps_s):
            gaps = np.flatnonzero(steps_s > _SILENT_STEPS * max(float(np.median(steps_s)), 1.0)) + 1
            x, y = np.insert(x, gaps, np.nan), np.insert(y, gaps, np.nan)
        traces.append(Trace(other.name, LINE, x, y, _OTHERS[number % len(_OTHERS)]))
    return traces


def _origin(case):
    launch, fixes = case.moments.launch, case.fixes
    if launch.latitude_deg is not None:
        return (launch.latitude_deg, launch.longitude_deg), "launch"
    return (float(fixes["latitude_deg"][0]), float(fixes["longitude_deg"][0])), "first fix"


def _kilometres(latitude_deg, longitude_deg, origin):
    """East and north of an origin, along the geodesic to it, km."""
    away_km = distance_m(*origin, latitude_deg, longitude_deg) / 1000.0
    azimuth = np.radians(azimuth_deg(*origin, latitude_deg, longitude_deg))
    return away_km * np.sin(azimuth), away_km * np.cos(azimuth)


def _levels(time_s, height_m, east_km, north_km):
    """Marks where the track passes each 5 km of height, so that the heights do not rest on colour."""
    x, y, labels = [], [], []
    for level in np.arange(_STEP_M, height_m.max(), _STEP_M):
        for index in np.flatnonzero(np.diff(height_m >= level)):
            x.append(east_km[index])
            y.append(north_km[index])
            labels.append(sentence("{height}", height=Quantity(float(level), "m")))
    if not x:
        return []
    return [Trace("Each 5 km of height", MARKERS, np.array(x), np.array(y), _LEVEL, labels=tuple(labels))]


def _arrows(case, time_s, east_km, north_km, extent_km):
    """One line that draws an arrow for the wind of each layer, where the climb passed it."""
    found = [layer for layer in layers(case) if layer.time_s is not None]
    strongest = max((layer.speed_m_s for layer in found), default=0.0)
    if strongest <= 0.0:
        return []
    scale = _SHARE_OF_ARROW * extent_km / strongest
    x, y, labels = [], [], []
    for layer in found:
        foot = np.array([np.interp(layer.time_s, time_s, east_km), np.interp(layer.time_s, time_s, north_km)])
        way = scale * np.array([layer.east_m_s, layer.north_m_s])
        side = 0.13 * np.array([-way[1], way[0]])
        tip = foot + way
        drawn = [foot, tip, tip - 0.3 * way + side, tip, tip - 0.3 * way - side, [np.nan, np.nan]]
        x += [point[0] for point in drawn]
        y += [point[1] for point in drawn]
        labels += [layer.label] * len(drawn)
    return [Trace("Wind, by layer", LINE, np.array(x), np.array(y), _ARROW, labels=tuple(labels))]


def _title(statements):
    distance, bearing = value(statements, "distance"), value(statements, "bearing")
    if distance is None or bearing is None:
        return words("Where it flew, seen from above")
    point = _POINTS[round(bearing / 45.0) % 8]
    return sentence("It landed {far} to the {point} of the launch", far=Quantity(distance, "km", 1), point=point)
