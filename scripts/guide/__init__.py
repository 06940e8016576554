"""The grower's manual: one page a topic, shown by `spotlamp guide`."""
