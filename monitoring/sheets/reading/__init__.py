"""From a stored file to raw rows of text; nothing is understood yet."""
