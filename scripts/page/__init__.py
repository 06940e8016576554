"""The garden page: what the commands say, to be looked at in a browser."""
