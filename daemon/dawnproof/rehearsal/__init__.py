"""The invented evening at the Saltmarsh Lane Print Room."""
