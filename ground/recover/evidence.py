"""The levels of evidence on which a record rests, weakest last."""

# By its block's or packet's own check sum, as it stood in the source.
PROVEN = 0
# By the CRC-32 of its block, whose bytes came out of parity: see `ground.recover.parity`.
REBUILT = 1
# By the CRC-32 of its block after a few bits of it were turned over: see `ground.recover.repair`.
REPAIRED = 2
# By nothing but its looks, out of a block whose check sum is wrong: see `ground.recover.unproven`.
UNPROVEN = 3

EVIDENCE_WORDS = ("proven", "rebuilt", "repaired", "unproven")
