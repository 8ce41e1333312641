"""The interface in JSON: it reads a body, calls one use case and shows what came out."""
