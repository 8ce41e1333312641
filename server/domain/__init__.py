"""Rules and numbers: frozen values and plain functions on the standard library, without clock, database or framework."""
