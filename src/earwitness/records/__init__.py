"""The vocabulary: frozen types, ids, sources and errors that every other floor speaks."""
