"""The recognisers: sound in, a hearing out."""
