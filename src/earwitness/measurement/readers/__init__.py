"""Readers: one form of raw file each. They refuse; they never repair."""
