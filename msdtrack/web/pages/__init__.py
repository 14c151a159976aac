"""One module for each screen: its context, its forms, its routes."""
