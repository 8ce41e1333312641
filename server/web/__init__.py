"""HTTP: pages for people, an interface in JSON for programs; both over the same use cases."""
