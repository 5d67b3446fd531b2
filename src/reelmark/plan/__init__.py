"""Ahead: from the delivery dates back to resin, and the plan of the shop."""
