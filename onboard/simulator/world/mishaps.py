"""What can befall the balloon and the payload itself, as against the electronics on board."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Mishaps:
    """Mishaps of one flight; the defaults are a flight to which nothing happens.

    burst_share: of the burst diameter, at which the balloon bursts. float_at: (height m, seconds): a vent takes
    away the free lift, so that the balloon drifts at about that height, and bursts so long after the vent opened.
    leak: (height m, percent an hour): from there on the balloon loses so much of its gas, sinks and never bursts.
    cut_m: the line is cut at this height. canopy_share: of the drag area that the canopy has from then on.
    canopy_opens_m: it stays in its bag, with a tenth of its drag area, down to this height. tree_m: it comes to
    rest in a tree, so high above the ground. carried_after_s: so long after the landing somebody drives off with
    it.
    """

    burst_share: float = 1.0
    float_at: tuple | None = None
    leak: tuple | None = None
    cut_m: float | None = None
    canopy_share: float = 1.0
    canopy_opens_m: float | None = None
    tree_m: float = 0.0
    carried_after_s: float | None = None


NO_MISHAPS = Mishaps()
