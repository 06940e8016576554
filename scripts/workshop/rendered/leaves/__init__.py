"""Painted leaves by day, with exact truth."""
