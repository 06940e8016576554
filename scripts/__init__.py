"""What people run: the command line and the makers of samples, training and benchmarks."""
