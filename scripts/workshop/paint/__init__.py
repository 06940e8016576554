"""What paints the samples and pictures."""
