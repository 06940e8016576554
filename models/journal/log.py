"""The log of a journal: what people did and saw, never changed, only corrected."""

from collections import defaultdict
from dataclasses import replace

from sqlalchemy import Connection, insert, select

from models.entries import LogEntry, LogKind
from models.garden.clock import utc_of
from models.journal import rows
from models.journal.base import Moment, OpenJournal, again_if_lost, inserted
from models.journal.errors import JournalError
from models.journal.sums import own_columns
from models.journal.tables import LOG, LOG_PLANTS

__all__ = ["LogRecord"]


class LogRecord(OpenJournal):
    """The part of a journal that holds the log."""

    @again_if_lost
    def log(self, entry: LogEntry) -> int:
        """File something that was done or happened, and return its number.

        Parameters
        ----------
        entry : LogEntry
            `number` is not looked at; `at` without a zone is the garden's time.

        Raises
        ------
        JournalError
            When it corrects an entry that does not exist or was corrected already.
        """
        with self.writing() as connection:
            if entry.corrects is not None:
                _refuse_wrong_correction(connection, entry.corrects)
            row = rows.log_row(entry, utc_of(entry.at, self.zone))
            number = inserted(connection, insert(LOG).values(**row))
            plants = [
                {"number": number, "position": position, "plant": rows.storable(plant)}
                for position, plant in enumerate(entry.plants, start=1)
            ]
            if plants:
                connection.execute(insert(LOG_PLANTS), plants)
        return number

    @again_if_lost
    def log_entries(
        self,
        plant: str | None = None,
        since: Moment = None,
        until: Moment = None,
        kind: LogKind | None = None,
        *,
        with_corrected: bool = False,
    ) -> tuple[LogEntry, ...]:
        """Return what was logged, by time; corrected entries only in their last form.

        Parameters
        ----------
        plant : str, optional
            Only entries about this plant or about the whole garden.
        since, until : datetime or date, optional
            From this moment on, and before that one.
        kind : str, optional
            Only entries of this kind.
        with_corrected : bool
            Also entries that were corrected or withdrawn, and the withdrawals.
        """
        query = select(*own_columns(LOG)).order_by(LOG.c.at, LOG.c.number)
        if since is not None:
            query = query.where(LOG.c.at >= utc_of(since, self.zone))
        if until is not None:
            query = query.where(LOG.c.at < utc_of(until, self.zone))
        if kind is not None:
            query = query.where(LOG.c.kind == kind)
        if not with_corrected:
            # Also by entries that are set aside: what they say instead is not known.
            replaced = select(LOG.c.corrects).where(LOG.c.corrects.is_not(None))
            query = query.where(LOG.c.withdrawn.is_(False), LOG.c.number.not_in(replaced))
        with self.reading() as connection:
            sound = self.sound(connection, LOG, LOG_PLANTS)
            plants = _plants_of_entries(connection)
            entries = tuple(
                rows.log_entry(row, plants.get(row.number, ()), self.zone)
                for row in connection.execute(query.where(sound))
            )
        if plant is None:
            return entries
        return tuple(entry for entry in entries if not entry.plants or plant in entry.plants)

    def correct(self, number: int, entry: LogEntry) -> int:
        """Put an entry in the place of an earlier one, which is kept; return its number."""
        return self.log(_correcting(entry, number, withdrawn=False))

    def withdraw(self, number: int) -> int:
        """Take an entry back; it is kept, and no longer given back by `log_entries`.

        Raises
        ------
        JournalError
            When there is no such entry.
        """
        entries = self.log_entries(with_corrected=True)
        entry = next((entry for entry in entries if entry.number == number), None)
        if entry is None:
            raise JournalError(f"There is no entry {number} in the log.")
        return self.log(_correcting(entry, number, withdrawn=True))


def _plants_of_entries(connection: Connection) -> dict[int, tuple[str, ...]]:
    found: dict[int, list[str]] = defaultdict(list)
    query = select(LOG_PLANTS.c.number, LOG_PLANTS.c.plant)
    for number, plant in connection.execute(
        query.order_by(LOG_PLANTS.c.number, LOG_PLANTS.c.position)
    ):
        found[number].append(plant)
    return {number: tuple(plants) for number, plants in found.items()}


def _refuse_wrong_correction(connection: Connection, number: int) -> None:
    if connection.execute(select(LOG.c.number).where(LOG.c.number == number)).first() is None:
        raise JournalError(f"There is no entry {number} in the log.")
    by = connection.execute(select(LOG.c.number).where(LOG.c.corrects == number)).scalar()
    if by is not None:
        raise JournalError(f"Entry {number} was corrected already by entry {by}: correct that one.")


def _correcting(entry: LogEntry, number: int, *, withdrawn: bool) -> LogEntry:
    return replace(entry, corrects=number, withdrawn=withdrawn)
