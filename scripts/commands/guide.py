"""``spotlamp guide``: the grower's manual, page by page."""

from typing import Annotated

import typer

from scripts.common.terminal import LINE, app, one_sentence_errors, say

__all__ = ["guide"]


@app.command()
def guide(
    topic: Annotated[
        list[str] | None,
        typer.Argument(metavar="TOPIC", help="A page, as care; the first one, my week, if none."),
    ] = None,
) -> None:
    """Show the grower's manual, a page for each job.

    Reads nothing of yours and writes nothing but the screen; answers at once. Without a topic it
    shows the first page, from a walk to the log, and which other pages there are.

    Ends with 0 when shown, 2 when there is no such page.
    """
    with one_sentence_errors():
        from scripts.guide.pages import contents, page

        say(page(" ".join(topic) if topic else "week", LINE))
        if not topic:
            say(f'\nPages, each shown by "spotlamp guide TOPIC":\n\n{contents()}')
