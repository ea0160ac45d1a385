"""Pictures of conching hours."""
