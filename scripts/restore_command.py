"""``spotlamp restore``: the newest backup in the place of a damaged journal."""

from scripts.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["restore"]


@app.command()
def restore(garden: GardenFolder = None) -> None:
    """Put the newest backup in the place of a damaged journal.

    Reads the garden's journal and its backups, which are made once a day before the first change,
    and checks each. A journal that is sound is left alone.

    Writes the backup in the journal's place; the damaged file is kept under another name. Costs a
    second for a long season. Score your photos again afterwards, to file what is newer; what was
    logged since the backup must be logged again.

    Ends with 0 when done or nothing had to be, 1 when there is no sound backup.
    """
    with one_sentence_errors():
        from scripts.gardens import chosen_garden
        from scripts.restoring import restore_journal

        say(restore_journal(chosen_garden(garden)))
