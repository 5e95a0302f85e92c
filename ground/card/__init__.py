"""Copying a card to an image, and the map of what could not be read of it."""
