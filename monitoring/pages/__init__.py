"""Put together what a page says: sentences, panels, rows. No query, no request."""
