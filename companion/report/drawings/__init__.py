"""Drawings from a job's own answers: the cut-out at true scale, and the wiring as built."""
