"""From records to tables of SI quantities: chips, clock, columns."""

from ground.decode.clock import Clock
from ground.decode.tables import Flight, Table, decode_flight, decode_unproven, group_boots

__all__ = ["Clock", "Flight", "Table", "decode_flight", "decode_unproven", "group_boots"]
