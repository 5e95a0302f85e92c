"""What all ports share."""

POLL_S = 0.2  # how long one read waits; what else a program does meanwhile is late by as much


class EndOfStream(Exception):
    """The other side closed the connection in good order; nothing more will come."""
