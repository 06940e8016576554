"""One file a command: what it reads and takes, and whom it asks."""
