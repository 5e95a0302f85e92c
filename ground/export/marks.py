"""Places that a map shows by name: launch, burst, landing, last fix."""

from dataclasses import dataclass

MARKED = ("launch", "burst", "landing", "last_fix")


@dataclass(frozen=True)
class Mark:
    """A named place. utc: ISO 8601 text or None; height_m: above mean sea level or None; text: a sentence."""

    name: str
    latitude_deg: float
    longitude_deg: float
    height_m: float | None
    utc: str | None
    text: str


def flight_marks(statements):
    """The places of the statements that have one, in order."""
    found = []
    for key in MARKED:
        said = statements.get(key)
        if said and said["latitude_deg"] is not None:
            found.append(
                Mark(
                    said["title"], said["latitude_deg"], said["longitude_deg"], said["height_m"], said["utc"],
                    said["text"],
                )  # fmt: skip
            )
    return found
