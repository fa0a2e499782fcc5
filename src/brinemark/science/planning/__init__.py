"""Planning with few electrodes: what the next one, the next batch and the next fish are best used for."""
