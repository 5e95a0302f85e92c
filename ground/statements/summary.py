"""The summary of a flight: statements with their evidence, and what is known about the log itself."""

from ground.analyse.events import event_notes
from ground.statements.case import build_case
from ground.statements.catalogue import all_statements
from ground.statements.log import log_facts
from ground.statements.words import summary_text


class Summary(dict):
    """A summary as plain dicts, lists, text and numbers, for JSON.

    Keys: flight, payload, statements (dict id -> statement, see ground.statements.statement), records
    (kind -> number), boots (list), notes (list of lines). The attribute `moments` holds the Moments, `case`
    the Case.
    """

    case = None
    moments = None

    def text(self, evidence=False):
        """Write the summary in plain English, at most 80 columns wide.

        evidence: add under each statement what it rests on.
        """
        return summary_text(self, evidence)


def summarise(flight, recovered) -> Summary:
    """Say what the data of a flight can say.

    flight: Flight. recovered: the Recovered that it is from; its ledger's notes are passed on.
    Returns a Summary; a statement that the data cannot answer has no value but a reason.
    """
    ledger = recovered.ledger
    return summary_of(build_case(flight, log_facts(flight, ledger)), ledger.notes if ledger else ())


def summary_of(case, ledger_notes=()) -> Summary:
    """Make the Summary of a Case. ledger_notes: lines about the recovery that are passed on."""
    flight, log = case.flight, case.log
    summary = Summary(
        flight=log.flight,
        payload=log.payload,
        statements=all_statements(case),
        records=log.records,
        boots=log.boots_as_dicts(),
        notes=[*case.notes, *flight.notes, *event_notes(flight.tables.get("event")), *ledger_notes],
    )
    summary.case, summary.moments = case, case.moments
    return summary
