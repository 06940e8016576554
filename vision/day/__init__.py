"""A day photo: light, leaves, what is sick on them, burns."""
