"""The trade's arithmetic, with working and sources."""
