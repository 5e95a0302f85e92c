"""Puts the logger and its configuration onto a board."""
