"""Management commands of this app."""
