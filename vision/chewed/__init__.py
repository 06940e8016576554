"""How much of a leaf was eaten."""
