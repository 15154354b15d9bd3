"""Draft a clinic's mapping from its export: guesses with evidence, for a person to settle."""
