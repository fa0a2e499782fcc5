"""What to do next with few electrodes: which of a new batch to burn on standards, and what a better batch would buy."""
