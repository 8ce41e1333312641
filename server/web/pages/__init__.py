"""Pages for people: a handler reads a form, calls one use case and shows a page or one block of it."""
