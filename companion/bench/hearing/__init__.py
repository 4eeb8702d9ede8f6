"""The `hearing` benchmark: what is heard right, asked about, missed or wrong, for us and peers."""
