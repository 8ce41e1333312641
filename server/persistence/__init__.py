"""The only rooms that speak SQL: engine, rows, and the functions that translate rows to domain values and back."""
