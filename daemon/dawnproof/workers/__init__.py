"""Where measuring and joining run: child processes with limits, behind the standard library's futures."""
