"""Plain values in, drawings and Plotly figures out; no query, no request."""
