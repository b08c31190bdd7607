"""Values in, something a person reads out: terminal, text, HTML. No queries, no files."""
