"""The self-test: is everything there, does it work, and which recogniser hears this user best."""
