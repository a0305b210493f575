"""How the shipped numbers were fitted; imported by nothing else in the package."""
