"""Sound at the edge: files, endpointing, the noise floor, cues."""
