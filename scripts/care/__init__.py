"""What to do: the record, its words, weather, burn check and calendar."""
