"""What learns each learned file."""
