"""The garden's record in a database: an SQLite file by default, or a server by its URL."""

from models.corrections import CorrectedReading, Fix, Fixed, Mark
from models.journal.errors import DamagedError, JournalError, StaleError
from models.journal.fixes import Wish
from models.journal.journal import Journal, PatternCorrection
from models.journal.opening import journal_file, open_journal
from models.journal.photos import FiledAs, Filing, LeafSeverity
from models.journal.rows import CLOCK_DOUBTFUL
from models.journal.states import PhotoState, PlantStates

__all__ = [
    "CLOCK_DOUBTFUL",
    "CorrectedReading",
    "DamagedError",
    "FiledAs",
    "Filing",
    "Fix",
    "Fixed",
    "Journal",
    "JournalError",
    "LeafSeverity",
    "Mark",
    "PatternCorrection",
    "PhotoState",
    "PlantStates",
    "StaleError",
    "Wish",
    "journal_file",
    "open_journal",
]
