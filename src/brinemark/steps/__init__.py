"""One file per arrow of the main line; the only place where science meets records."""
