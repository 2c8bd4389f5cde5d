"""The case on disk: its files, what they state, what was built from them, and that nothing is lost."""
