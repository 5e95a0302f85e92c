"""The ground program: from whatever came back to a flight record a team can trust.

    >>> from ground import load_flight
    >>> flight = load_flight("napraforgo-1")  # a folder that `loftbook recover` made
    >>> flight.tables["air"]["temperature_degC"].min()
    >>> print(flight.statements["tropopause"]["text"])
"""


def __getattr__(name):
    if name == "load_flight":  # late, so that commands that do not need it start fast
        from ground.library import load_flight

        return load_flight
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
