"""The three sheets a person fills in: the car card, the bench card and the test card (TOML)."""
