"""The SQLite record of every file seen, every reading, every move and every decision."""
