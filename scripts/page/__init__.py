"""The page, and the report: a garden to be looked at, and to be printed."""
