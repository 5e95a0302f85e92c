"""The ground program: from whatever came back to a flight record a team can trust."""
