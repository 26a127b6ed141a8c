"""Coverage-guided fuzzing of what strangers hand in; apart from the test command. See `__main__`."""
