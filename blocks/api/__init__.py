"""The REST API of groups, farms and blocks."""
