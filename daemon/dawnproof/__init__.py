"""Dawnproof: looks at every scan of an original overnight and says in the morning what may go back."""

__version__ = "0.1.0"
