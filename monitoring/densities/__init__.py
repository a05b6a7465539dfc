"""From published tallies to stored densities, and the working behind a number."""
