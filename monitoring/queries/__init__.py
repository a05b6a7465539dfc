"""What is read for the pages of rounds, densities and the laboratory."""
