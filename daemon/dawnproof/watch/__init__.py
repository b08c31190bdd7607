"""What arrives: events as hints, full scans as the truth, and when a file is whole."""
