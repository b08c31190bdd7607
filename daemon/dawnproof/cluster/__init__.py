"""Measuring and joining on other computers, through dask.distributed. Only values travel; what comes back is adopted
by the studio's own daemon, the single writer of ledger and archive."""
