# Looks whether the configuration's switches can be. Loaded only if there are any, and let go at the boot.

SOURCES = ("height", "battery", "outside", "board")  # of what a condition compares


def check_switches(settings):
    """Raise ValueError if an entry of the configuration's switches cannot be."""
    for switch in settings:
        on_ms, period_ms = switch["blink"]
        if not 0 <= on_ms <= period_ms:
            raise ValueError("blink of a switch must be [ms on, ms a period]")
        for condition in switch["conditions"]:
            if condition[0] not in SOURCES or len(condition) != 5 or condition[1] == condition[2]:
                words = "a switch's condition must be [source, on at, off at, lowest, highest], source one of "
                raise ValueError(words + " ".join(SOURCES))
