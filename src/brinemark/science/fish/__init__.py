"""From an amount in the water to what it says about the fish."""
