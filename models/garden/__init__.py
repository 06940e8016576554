"""The garden as its owner describes it: beds, settings, clock, plant names."""
