"""Procedures: the model, the loader, the data."""
