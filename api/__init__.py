"""The REST edge: authentication, units, problem documents, pages, ETags, one module per resource group."""
