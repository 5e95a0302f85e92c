"""The battery: primary lithium cells in series under a steady load."""

import numpy as np

# An iron disulfide cell of AA size. The numbers are common practice, no source: they give the
# right shape (a high start, a long flat stretch, a steep end, a sag in the cold), no more.
_DISCHARGE_SHARE = np.array([0.0, 0.02, 0.10, 0.50, 0.85, 0.95, 1.0])
_OPEN_VOLTAGE_V = np.array([1.80, 1.72, 1.68, 1.60, 1.50, 1.35, 0.90])
_RESISTANCE_OHM = 0.15  # of one cell, at _WARM_K
_WARM_K = 294.15
_DOUBLING_K = 20.0  # so much colder, twice the resistance
LOAD_W = 0.6  # flight computer, receiver and radio together


def battery_voltage_v(time_s, cell_temperature_k, cells, capacity_mah):
    """Give the voltage at the battery's terminals.

    time_s: float array (n,), rising, from switching on with fresh cells.
    cell_temperature_k: float array (n,). cells: number in series. capacity_mah: of one cell.
    Returns V, float array (n,).
    """
    # The load draws constant power; the current follows the voltage of a middling cell, since
    # the exact one would change the charge drawn by a few percent only.
    current_a = LOAD_W / (cells * 1.55)
    drawn_share = np.asarray(time_s) * current_a / (capacity_mah / 1000.0 * 3600.0)
    open_v = np.interp(drawn_share, _DISCHARGE_SHARE, _OPEN_VOLTAGE_V)
    resistance_ohm = _RESISTANCE_OHM * 2.0 ** ((_WARM_K - cell_temperature_k) / _DOUBLING_K)
    return cells * np.maximum(open_v - current_a * resistance_ohm, 0.0)
