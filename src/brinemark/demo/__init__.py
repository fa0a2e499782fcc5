"""The invented scenario: it makes files, then uses the ordinary steps."""
