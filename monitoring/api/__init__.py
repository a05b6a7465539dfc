"""Blocks and densities for programs, under the same access as the pages."""
