"""The sheets a person fills in (TOML): read, checked for figures that cannot be meant, turned into SI."""
