# The parts that not every board has. Loaded only if the configuration, or the ground test, asks for one of them.
#
# boot: the Boot that wants them.


def seconds_in_phase(boot, region):
    """How long the flight has been in its phase, from the log."""
    from onboard.firmware.elapsed import seconds_in_phase

    return seconds_in_phase(region, boot.settings.flight)


def downlink(boot, number, texts):
    """The downlink's task, for this boot's number and the manifest's texts."""
    from onboard.firmware.downlink import DownlinkTask

    battery = boot.sensors.adc("battery")
    return DownlinkTask(boot.settings, number, texts, boot.tracker, battery, boot.events, boot.board)


def probes(boot):
    """The probes' task, None if there are none."""
    found = boot.sensors.probes()
    if not found:
        return None
    from onboard.firmware.probe_task import ProbeTask

    return ProbeTask(boot.settings.rates["probe"], found, boot.store, boot.events)


def tasks(boot, is_ground_test, pressure, gnss, air, power):
    """Makes the tasks of outputs, ground test and downlink, one by one."""
    wanted = boot.settings.switches
    events = boot.events
    outputs = None
    if wanted:
        from onboard.firmware.switches import SwitchTask, make_switches

        switches = make_switches(wanted, boot.board, events)
        outputs = SwitchTask(switches, boot.tracker, air, power, events, boot.seconds)
        yield outputs
    if is_ground_test:
        from onboard.firmware.ground_test import GroundTestTask

        yield GroundTestTask(len(wanted), outputs, pressure, gnss, air, power, events)
    if events.downlink:
        gnss.downlink = events.downlink
        yield events.downlink
