"""The conversation: pure state, one turn at a time."""
