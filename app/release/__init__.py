"""Evidence, holds, dispositions and signed decisions on panels."""
