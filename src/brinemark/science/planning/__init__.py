"""What to do next with few electrodes, few fish and little money."""
