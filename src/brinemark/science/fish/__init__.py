"""From an amount in the water to what it says about the fish: kinetics, mass balance, evidence, surveillance."""
