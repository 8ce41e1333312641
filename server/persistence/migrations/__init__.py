"""The database's schema, one step a file."""
