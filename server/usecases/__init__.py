"""Verbs: each takes a `Work`, decides with the domain, and ends with one explicit commit, or leaves everything as it was."""
