"""The job log: durable, append-only, exportable."""
