"""How many bags a block needs: laws of clumping, plans, and plans tried on counts."""
