"""mission.toml: the one file that describes a payload through the whole job."""

from ground.mission.load import Mission, MissionError, load_mission

__all__ = ["Mission", "MissionError", "load_mission"]
