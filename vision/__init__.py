"""Pixels to measurements: photos in, frozen readings out."""
