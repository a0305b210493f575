"""House styles and rigs: the values that the rules read, from TOML files that a designer can edit."""
