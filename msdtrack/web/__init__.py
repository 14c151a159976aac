"""The pages and the HTTP API: forms in, answers out; every rule lives below."""
