"""Finding a way over the hazards, with a bound."""
