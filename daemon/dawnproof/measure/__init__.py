"""Pixels and header facts in, readings with units out. No limits, no paths, no clock."""
