"""msdtrack: floor life, dry storage and bakes of moisture-sensitive parts (J-STD-033)."""

__version__ = "0.1.0"
