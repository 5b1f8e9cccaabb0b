"""The bag: leak checks, the surface search, photographs."""
