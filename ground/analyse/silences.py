"""What silences of position sources are usual, and which of these one looks like.

All limits here are common practice, no source: many receivers give no position above 12 km unless they are set to a
mode for the air, older ones none above 18 km; a device that speaks over a phone network works within some
kilometres of the ground, where its cells' antennas look; a radio link ends where the ground hides the payload.
"""

import numpy as np

CEILINGS_M = (12_000.0, 18_000.0)
NEAR_M = 700.0  # reports are sparse, and a receiver takes a minute or two to find its satellites again
LATE_M = 3500.0  # so far below the ceiling a falling receiver may have fallen until then
NETWORK_M = 4000.0
HORIZON_M = 2000.0


def explain(silence, top_s, end_s, kind, why=None):
    """Say in a few words what usual silence this one looks like, or None.

    silence: Silence. top_s, end_s: of the flight, s. kind: 'gnss', 'downlink' or 'tracker'. why: of the own
    receiver's, what the log shows: 'no fix', 'no answer' or 'no records'.
    """
    across_top = silence.start_s < top_s < silence.end_s
    if np.isnan(silence.from_m):
        return None
    if kind != "downlink" and across_top and why in (None, "no fix"):
        for ceiling_m in CEILINGS_M:
            begins = abs(silence.from_m - ceiling_m) <= NEAR_M
            back = np.isnan(silence.to_m) or ceiling_m - LATE_M <= silence.to_m <= ceiling_m + NEAR_M
            if begins and (back or silence.end_s >= end_s - 60.0):
                return f"a receiver that stops above {ceiling_m / 1000:.0f} km"
    if kind == "tracker" and across_top and silence.from_m <= NETWORK_M:
        return "a tracker that speaks over a phone network"
    if kind != "gnss" and silence.end_s >= end_s - 1.0 and silence.from_m <= HORIZON_M and silence.start_s > top_s:
        return "a radio that the ground hides"
    return None
