"""A prepared job spoken by a synthetic technician through the real loop."""
