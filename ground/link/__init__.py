"""Packets on a link: sending a recovered flight again, and following one that is in the air."""
