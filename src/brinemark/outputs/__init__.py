"""Charts (later reports and bundles) made from records."""
