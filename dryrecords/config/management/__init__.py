"""Management commands: the operator of the service starts here."""
