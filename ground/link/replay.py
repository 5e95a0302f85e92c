"""Send a recovered flight again over a port, as packets, in step with its own clock."""

from dataclasses import dataclass

from ground.errors import LoftbookError
from ground.link.repack import packets_of, too_long


@dataclass
class Sent:
    """What a replay has sent so far."""

    packets: int = 0
    bytes: int = 0
    records: int = 0
    left_out: int = 0  # records too long for a packet


def choose_flight(boots, wanted=None):
    """Give the boots of one flight, in order.

    boots: list of BootLog; wanted: a flight's identity, or None for the flight that comes last.
    Raises LoftbookError if there is no such flight; it names those that there are.
    """
    identities = list(dict.fromkeys(boot.flight for boot in boots))
    chosen = identities[-1] if wanted is None else wanted.lower()
    if chosen not in identities:
        raise LoftbookError(f"flight {wanted}: not in this source; it holds {', '.join(identities)}")
    return [boot for boot in boots if boot.flight == chosen]


def replay_boots(boots, port, pace, on_packet=None):
    """Send the records of these boots, one boot after the other.

    boots: list of BootLog; port: a Port; pace: a Pace; on_packet: called with boot, SentPacket and
    Sent after every packet. How long the payload was off between two boots is not known, so the
    next boot follows at once. Returns Sent. Raises LoftbookError if the port breaks.
    """
    sent = Sent()
    for boot in boots:
        sent.left_out += too_long(boot)
        started = False
        for packet in packets_of(boot):
            if not started:
                pace.restart(packet.first_tick_ms)
                started = True
            pace.wait_for(packet.last_tick_ms)
            port.write(packet.data)
            sent.packets += 1
            sent.bytes += len(packet.data)
            sent.records += packet.records
            if on_packet:
                on_packet(boot, packet, sent)
    port.drain()
    return sent
