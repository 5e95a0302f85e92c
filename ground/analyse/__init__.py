"""What a flight's tables say: launch, burst, landing, extremes, each with its evidence."""

from ground.analyse.moments import Moment, Moments, seconds_since_launch
from ground.analyse.summary import Summary, summarise

__all__ = ["Moment", "Moments", "Summary", "seconds_since_launch", "summarise"]
