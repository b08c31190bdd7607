"""The loop: watch the inbox, measure what is whole, judge what is complete, file, and say what happens."""

from .loop import Service, Tick

__all__ = ["Service", "Tick"]
