"""Who, where, may they: organizations, customers, sites, roles, tokens, and the one door to every record."""
