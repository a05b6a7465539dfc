"""The bench: events in, readings and tallies out."""
