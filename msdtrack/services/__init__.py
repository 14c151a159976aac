"""What a person does: receive, scan, bake, print, acknowledge. Services alone open transactions."""

# Whoever writes has the standings kept up to date.
from msdtrack.services import standings as standings
