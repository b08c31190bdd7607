"""One job's steps in order: file, part, job, readings, findings, outcome, join, crop, archive or rework, ledger."""
