"""Which organism goes with the damage: scores of bags against animals on them."""
