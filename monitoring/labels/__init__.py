"""Label codes of bags, the papers they are printed on, and the printing."""
