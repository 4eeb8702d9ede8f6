"""The larger commands of the command line, one module each: `add(command)` and what it runs."""
