"""The course of a plant and of the garden, in words and pictures."""
