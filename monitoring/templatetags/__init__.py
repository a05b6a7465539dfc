"""Template tags of this app: figures in words."""
