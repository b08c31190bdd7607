"""TOML to a frozen RuleBook: the only reader of rule books. Every value keeps the book it came from."""

from __future__ import annotations

from .book import RuleBook, load_book, read_book
from .shipped import shipped_books, shipped_text
from .tables import (
    Archive,
    BedRules,
    Crop,
    Fixity,
    Folders,
    Intake,
    Jobs,
    Join,
    Kind,
    LimitRules,
    Mail,
    Morning,
    Naming,
    Output,
    Work,
)

__all__ = [
    "Archive",
    "BedRules",
    "Crop",
    "Fixity",
    "Folders",
    "Intake",
    "Jobs",
    "Join",
    "Kind",
    "LimitRules",
    "Mail",
    "Morning",
    "Naming",
    "Output",
    "RuleBook",
    "Work",
    "load_book",
    "read_book",
    "shipped_books",
    "shipped_text",
]
