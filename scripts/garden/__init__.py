"""The garden on disk: making it, tags, assigning, export and putting right."""
