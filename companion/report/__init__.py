"""The commissioning report."""
