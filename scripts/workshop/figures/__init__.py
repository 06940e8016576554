"""What measures the figures in the documents."""
