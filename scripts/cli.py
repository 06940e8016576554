"""The command line: each module of ``scripts.commands`` joins the app when it is imported.

Only light modules are imported here: ``--help`` must answer at once.
"""

from scripts.commands import (  # noqa: F401  imported to join
    assign,
    burn,
    check,
    columns,
    demo,
    export,
    fix,
    flag,
    guide,
    howmany,
    log,
    mix,
    new,
    night,
    plan,
    relabel,
    report,
    restore,
    score,
    season,
    serve,
    tags,
    today,
    train,
    trend,
    weather,
)
from scripts.common.terminal import app

__all__ = ["app"]
