"""Recovery: from the bytes of a card, a file or a link to records, whatever happened to them."""

from ground.recover.assemble import recover_source, recover_sources
from ground.recover.packets import Packet, PacketFinder
from ground.recover.result import BootLog, Coverage, KindRecords, Ledger, Loss, Manifest, Range, Recovered

__all__ = [
    "BootLog", "Coverage", "KindRecords", "Ledger", "Loss", "Manifest", "Packet", "PacketFinder", "Range",
    "Recovered", "recover_source", "recover_sources",
]
