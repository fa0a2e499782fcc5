"""One module for each page, and for what hangs on it."""
