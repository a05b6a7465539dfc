"""The pages of rounds, sheets, densities and the laboratory."""
