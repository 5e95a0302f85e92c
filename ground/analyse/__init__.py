"""Methods, numpy in and numpy out: what a flight's tables say, by published methods under their names."""

from ground.analyse.moments import Moment, Moments, seconds_since_launch

__all__ = ["Moment", "Moments", "seconds_since_launch"]
