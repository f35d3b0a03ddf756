"""The routes, a file a subject."""
