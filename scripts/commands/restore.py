"""``spotlamp restore``: the newest backup in the place of a damaged journal."""

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["restore"]


@app.command()
def restore(garden: GardenFolder = None) -> None:
    """Put a damaged journal right from its backups.

    Reads the garden's journal, every row of it, and its backups, which are made once a day before
    the first change. A journal that is sound is left alone; so is one that another program uses,
    or that the system does not give to read: neither is damage.

    Writes the journal: takes damaged rows back from the backups, and leaves out by name what none
    of them holds; where the file as a whole is damaged, the newest backup takes its place. The
    journal as it was is kept under another name. Costs a few seconds for a long season. Score your
    photos again afterwards, to file what is newer; what was logged since the backup must be logged
    again.

    Ends with 0 when done or nothing had to be, 1 when there is no sound backup, or the journal
    cannot be read or is in use.
    """
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.restore import restore_journal

        say(restore_journal(chosen_garden(garden)))
