"""A second implementation of the method, written to be read and not to be fast. Tests hold the two together."""
