"""Files, sheets, settings, audit and the database: everything that touches the disk."""
