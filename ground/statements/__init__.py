"""What a flight's data say: statements with their evidence, and the summary that is made of them."""

from ground.statements.case import Case, build_case
from ground.statements.catalogue import TOPICS, all_statements
from ground.statements.log import LogFacts, log_facts
from ground.statements.summary import Summary, summarise, summary_of

__all__ = [
    "Case", "LogFacts", "Summary", "TOPICS", "all_statements", "build_case", "log_facts", "summarise", "summary_of",
]
