"""Alerts for programs, under the same access as the pages."""
