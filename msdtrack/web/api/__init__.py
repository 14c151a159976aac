"""The JSON API under /api/v1: strict requests, problem+json, and its own OpenAPI document."""
