"""Photos into tables: one photo, a run of many, what is kept and written."""
