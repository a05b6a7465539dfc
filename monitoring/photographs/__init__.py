"""Read photographs in a limited child process, and write them anew without more."""
