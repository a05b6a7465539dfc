"""Washing bags: mixing the alcohol, and what departs from the protocol."""
