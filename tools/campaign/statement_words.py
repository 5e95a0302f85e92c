"""Words of statements against the truth: how the climb ended, how the canopy was, where it came down."""

# What a statement about this may say, and what not: lower case. One of the first must be in it, none of the second.
_CLIMB_END = {
    "burst": (("burst",), ("sank", "without a burst", "never burst")),
    # No sensor tells a line that was cut from a burst at a height below what the balloon can reach.
    "cut": (("burst", "cut"), ("sank", "never burst")),
    "leak": (("leak", "sank", "without a burst", "never burst"), ()),
}


def climb_end(world, said):
    flight = world.figures["flight"]
    if flight["float"]:
        return _judge(said, ("floated",), ())
    wanted, unwanted = _CLIMB_END[flight["climb_ended_by"]]
    return _judge(said, wanted, (*unwanted, "floated"))


def canopy(world, said):
    flight = world.figures["flight"]
    if flight["climb_ended_by"] == "leak":
        return _judge(said, ("balloon", "no parachute", "not under"), ("good",))
    if flight["canopy"]["opens_m"] is not None:
        return _judge(said, ("changed", "late", "grew"), ("good", "all the way down"))
    if flight["canopy"]["share"] < 0.6:
        return _judge(said, ("tangled", "closed"), ("good",))
    return _judge(said, ("good",), ("tangled", "changed"))


def after_landing(world, said):
    if world.figures["flight"]["carried_off_s"]:
        return _judge(said, ("drove", "carried"), ())
    return _judge(said, ("lay still", "hung"), ("drove", "carried", "moved over"))


def _judge(said, wanted, unwanted):
    said = said.lower()
    return any(word in said for word in wanted) and not any(word in said for word in unwanted)


def what_died(world, said):
    dead = {row["target"] for row in world.figures.get("faults", []) if row["kind"] == "silent"}
    if "outside_temperature" in dead:
        return _judge(said, ("thermometer", "outside temperature"), ())
    return True if dead else _judge(said, ("every device was heard", "nothing died"), ())


WORDS = {"climb_end": climb_end, "canopy": canopy, "after_landing": after_landing, "what_died": what_died}
