"""The output of a recovery: tables, summary and ledger in one folder."""

from ground.report.write import check_output, write_flight, write_flights

__all__ = ["check_output", "write_flight", "write_flights"]
