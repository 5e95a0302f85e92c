"""Parts of a statement beside their truth, and what the truths of several statements need alike."""

from dataclasses import dataclass

from ground.physics.geodesy import distance_m

WRONG = float("inf")  # the error of a statement that should not have been made


@dataclass(frozen=True)
class Part:
    """A part of a statement, such as its value or a row: how far it is from the truth, and its own uncertainty
    (None if it gives none), in one unit; size: of the value, to judge how wide the uncertainty is; truth: for messages.
    """

    what: str
    error: float
    uncertainty: float | None
    size: float
    truth: object = None


def value(statement, truth, what="value", size=None):
    """The part that is a statement's value; nothing if one of both is missing."""
    if statement["value"] is None or truth is None:
        return []
    error = abs(statement["value"] - truth)
    return [Part(what, error, statement["uncertainty"], abs(truth) if size is None else size, truth)]


def exact(statement, truth):
    """A count must be the true one, whatever uncertainty it gives."""
    return within(statement, truth, 0.0)


def within(statement, truth, tolerance):
    """The value of a statement without an uncertainty, which must be as near to the truth as the campaign wants."""
    if statement["value"] is None or truth is None:
        return []
    return [Part("value", abs(statement["value"] - truth), tolerance, 0.0, truth)]


def apart_m(truth, statement):
    """Distance of two places."""
    places = [place[key] for place in (truth, statement) for key in ("latitude_deg", "longitude_deg")]
    return float(distance_m(*places))


def figure(*keys, factor=1.0, offset=0.0, size=None):
    """A value that stands in truth.json, under these keys."""

    def parts(world, statement):
        truth = world.figures
        for key in keys:
            truth = truth.get(key) if truth else None
        return value(statement, None if truth is None else truth * factor + offset, size=size)

    return parts


def rows(statement, names):
    """The rows of a statement's table as tuples of these columns; rows with an empty one are left out."""
    table = statement["table"]
    if not table:
        return []
    places = [[name for name, _ in table["columns"]].index(wanted) for wanted in names]
    rows = [tuple(row[place] for place in places) for row in table["rows"]]
    return [row for row in rows if None not in row]


def climb_s(world):
    """From and to of the climb proper: a float is no climb."""
    floated = world.figures["flight"]["float"]
    end_s = floated["from_s"] if floated else world.figures["climb_end"]["time_s"]
    return world.figures["release"]["time_s"], end_s


def fall_s(world):
    return world.figures["climb_end"]["time_s"], world.figures["landing"]["time_s"]
