"""What every command needs: the terminal, files, tables, processes."""
