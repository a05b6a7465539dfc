"""From a block and a wish to a planned round: bags, vines, walk, files."""
