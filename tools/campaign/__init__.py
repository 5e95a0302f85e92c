"""What the fault campaigns share: logs written by the board's own code, damage, and an independent judge."""
