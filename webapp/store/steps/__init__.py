"""Steps that were released, an era a file; `webapp.store.migrations` lists them in order and runs them."""
