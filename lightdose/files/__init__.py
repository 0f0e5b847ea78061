"""Edges: everything that is read from or written to files."""
