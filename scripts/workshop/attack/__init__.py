"""What tries to break the program."""
