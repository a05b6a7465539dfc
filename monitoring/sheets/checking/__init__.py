"""From raw rows to typed rows and findings: no database, no request."""
