"""How far and how often the box swings on its line. Arguments as in ground.analyse.motion."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.motion import SLOWEST_STEP_S, across, mean_step_s, split
from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2

BAND_HZ = (0.06, 2.0)  # swings of 0.5 s to 17 s: pendulums of some centimetres to 70 m
WELCH_S = 120.0
PAD_S = 100.0  # beyond both ends; within it the filter's answer to what is joined there has died away
SHORTEST_S = 2.0 / BAND_HZ[0]


@dataclass(frozen=True)
class Swing:
    """rms_deg: root mean square angle from the vertical, largest_deg: exceeded in 1 % of the time, both from the
    rates; felt_deg: what the direction of the specific force swings; period_s and its standard uncertainty, None
    where no period stands out; length_m: of the simple pendulum of that period; seconds: analysed.
    """

    rms_deg: float
    largest_deg: float
    felt_deg: float
    period_s: float | None
    period_uncertainty_s: float | None
    length_m: float | None
    seconds: float


def tilt_deg(time_s, force, rate, up):
    """Give (tilt, felt): how far the box leans, complex (n,), deg, from the rates and from the specific force.

    rate: zero taken off. The rates across are turned back by the spin, so that they are those of a frame that does
    not spin, and integrated in the frequency domain within BAND_HZ; NaN where the record is too short for that.
    """
    tilt, felt = (np.full(len(time_s), np.nan, complex) for _ in range(2))
    for part in split(time_s):
        times = time_s[part]
        step_s = mean_step_s(times)
        if times[-1] - times[0] < SHORTEST_S or step_s > SLOWEST_STEP_S:
            continue
        even_s = np.linspace(times[0], times[-1], len(times))
        turn = np.exp(1j * np.radians(np.cumsum(np.interp(even_s, times, rate[part] @ up)) * step_s))
        size = np.sqrt(np.einsum("ij,ij->i", force[part], force[part]))
        lean = across(force[part], up) / np.maximum(size, 0.3 * STANDARD_GRAVITY_M_S2) * (180.0 / np.pi)
        for source, target, integrate in ((across(rate[part], up), tilt, True), (lean, felt, False)):
            signal = np.interp(even_s, times, source) * turn
            target[part] = np.interp(times, even_s, _in_band(signal, step_s, integrate))
    return tilt, felt


def _in_band(signal, step_s, integrate):
    """What of a signal lies within BAND_HZ, integrated over time or not. signal: complex (n,)."""
    pad = int(PAD_S / step_s)
    count = _fast_length(len(signal) + 2 * pad)
    # Mirrored beyond its ends, so that no angle jumps there; a mirrored rate runs backwards.
    mirrored = np.concatenate([signal, (-signal if integrate else signal)[::-1]])
    longer = mirrored.take(np.arange(-pad, count - pad), mode="wrap")
    frequency = np.fft.fftfreq(count, step_s)
    frequency[0] = 1e-9
    keep = (np.abs(frequency) <= BAND_HZ[1]) / (1.0 + (BAND_HZ[0] / frequency) ** 8)
    if integrate:
        keep = keep / (2j * np.pi * frequency)
    return np.fft.ifft(np.fft.fft(longer) * keep)[pad : pad + len(signal)]


def _fast_length(least):
    """The smallest product of 2, 3 and 5 that is no smaller: the Fourier transform of others takes far longer."""
    powers = (3**a * 5**b for a in range(13) for b in range(9))
    return min(odd << max((-(-least // odd) - 1).bit_length(), 0) for odd in powers)


def swing_figures(time_s, tilt, felt):
    """Give the Swing of a span, None if it is shorter than two of Welch's segments."""
    known = np.isfinite(tilt)
    time_s, tilt, felt = time_s[known], tilt[known], felt[known]
    if len(time_s) < 20:
        return None
    step_s = float(np.median(np.diff(time_s)))
    if len(time_s) * step_s < 2.0 * WELCH_S:
        return None
    size = np.abs(tilt)
    period_s, spread_s = dominant_period_s(time_s, tilt)
    length_m = None if period_s is None else STANDARD_GRAVITY_M_S2 * period_s**2 / (4.0 * np.pi**2)
    rms_deg, felt_deg = (float(np.sqrt(np.mean(part**2))) for part in (size, np.abs(felt)))
    largest_deg = float(np.percentile(size, 99))
    return Swing(rms_deg, largest_deg, felt_deg, period_s, spread_s, length_m, len(time_s) * step_s)


def dominant_period_s(time_s, signal):
    """Give (period, standard uncertainty) of the strongest oscillation, (None, None) if none stands out.

    signal: complex (n,). Method: P. D. Welch's averaged periodogram (IEEE Trans. Audio Electroacoust. 15, 1967)
    with Hann windows of WELCH_S that overlap by half; the peak's centre of power, and its scatter between quarters.
    """
    step_s = float(np.median(np.diff(time_s)))
    count = max(int(WELCH_S / step_s), 8)
    frequency = np.fft.fftfreq(count, step_s)
    half = (frequency > 0) & (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])
    spectra = [np.zeros((0, int(half.sum())))]
    for part in split(time_s):
        if part.stop - part.start < count:
            continue
        segments = np.lib.stride_tricks.sliding_window_view(signal[part], count)[:: count // 2]
        segments = (segments - segments.mean(axis=1, keepdims=True)) * np.hanning(count)
        power = np.abs(np.fft.fft(segments, axis=1)) ** 2
        spectra.append((power + np.roll(power[:, ::-1], 1, axis=1))[:, half])  # left and right are one swing
    spectra, frequency = np.concatenate(spectra), frequency[half]
    if len(spectra) < 2:
        return None, None

    def centre(power):
        near = slice(max(int(np.argmax(power)) - 2, 0), int(np.argmax(power)) + 3)
        return float((frequency[near] * power[near]).sum() / power[near].sum())

    total = spectra.sum(axis=0)
    if not total.max() > 10.0 * np.median(total):
        return None, None
    peak = centre(total)
    quarters = [centre(group.sum(axis=0)) for group in np.array_split(spectra, min(4, len(spectra)))]
    spread = max(float(np.std(quarters, ddof=1)) / len(quarters) ** 0.5, 0.05 / WELCH_S)
    return 1.0 / peak, spread / peak**2
