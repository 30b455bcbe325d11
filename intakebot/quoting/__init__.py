"""What a repair costs: money, charging rules, price distribution, written estimate, consent. Pure."""
