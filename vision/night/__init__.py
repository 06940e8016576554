"""A UV night photo: the caterpillars that glow."""
