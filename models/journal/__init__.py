"""The garden's record in a database: an SQLite file by default, or a server by its URL."""

from models.journal.errors import DamagedError, JournalError
from models.journal.fixes import Fix, Fixed
from models.journal.journal import Journal, PatternCorrection
from models.journal.opening import journal_file, open_journal
from models.journal.photos import FiledAs, Filing, LeafSeverity
from models.journal.rows import CLOCK_DOUBTFUL

__all__ = [
    "CLOCK_DOUBTFUL",
    "DamagedError",
    "FiledAs",
    "Filing",
    "Fix",
    "Fixed",
    "Journal",
    "JournalError",
    "LeafSeverity",
    "PatternCorrection",
    "journal_file",
    "open_journal",
]
