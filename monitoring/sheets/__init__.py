"""Count sheets: from the uploaded file to published tallies."""
