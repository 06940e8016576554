"""From a file to pixels: finding photos, decoding them, when they were taken."""
