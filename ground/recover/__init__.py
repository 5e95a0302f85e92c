"""Recovery: from the bytes of a card, a file or a link to records, whatever happened to them."""

from ground.recover.assemble import recover_source
from ground.recover.packets import Packet, PacketFinder
from ground.recover.result import BootLog, KindRecords, Ledger, Loss, Manifest, Range, Recovered

__all__ = [
    "BootLog", "KindRecords", "Ledger", "Loss", "Manifest", "Packet", "PacketFinder", "Range", "Recovered",
    "recover_source",
]
