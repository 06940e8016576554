"""Measurements to judgements and memory."""
