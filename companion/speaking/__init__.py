"""The voice: text in, samples out, and where they are played."""
