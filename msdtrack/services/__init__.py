"""What a person does: receive, scan, bake, print, acknowledge. Services alone open transactions."""
