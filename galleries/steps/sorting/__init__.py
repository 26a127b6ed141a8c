"""Frames put into looks and runs: proposed by the program, decided by the photographer."""
