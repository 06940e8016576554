"""What learns, paints, measures and attacks; none of it is in the wheel."""
