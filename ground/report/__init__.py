"""The output of a recovery: tables, summary, account, pictures and ledger in one folder."""

from ground.report.account import account
from ground.report.picture import picture
from ground.report.write import write_flight, write_flights

__all__ = ["account", "picture", "write_flight", "write_flights"]
