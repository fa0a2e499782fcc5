"""Arrays in, results out: no clock, file, database, chart or print."""
