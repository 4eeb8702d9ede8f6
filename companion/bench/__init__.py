"""Benchmarks: figures from a command, always beside a peer."""
